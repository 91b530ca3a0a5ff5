"""Elements put together to equations of motion, and what follows from them without a run: statics, modes, facts."""
