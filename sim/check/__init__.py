"""Findings about a machine before money is spent: what will not work, why, by how much, and what to change."""
