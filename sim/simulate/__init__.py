"""The step loops and what they need: the readable one, the printed one, the rule for the step, and run() that leaves a Trace."""
