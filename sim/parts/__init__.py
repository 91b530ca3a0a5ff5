"""The catalogue, a source for every number, and what makes a design in SI of a scenario and its parts."""
