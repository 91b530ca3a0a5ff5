"""Whole runs, and what several of them say together: the door through which a person's questions enter the engine."""
