"""Places: what a machine is once its parts have them. Bodies, wheels, belts, routing, frame, layouts."""
