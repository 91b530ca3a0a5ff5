"""The beltspring engine: from a scenario to a trace. It draws nothing and prints nothing."""
