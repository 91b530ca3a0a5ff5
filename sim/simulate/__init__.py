"""From a plan and a model to a trace: the readable loop, the printed loop, and how long a step may be."""
