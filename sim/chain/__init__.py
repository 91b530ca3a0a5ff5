"""The only way from a scenario to what came of it: one plan, one simulation, one analysis, and what is heard in it."""
