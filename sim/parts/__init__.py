"""The catalogue, with a source for every number, and the completed design of a scenario in SI units."""
