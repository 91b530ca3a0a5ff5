"""The window: state and one step, loop, events, session, clock, and work off the drawing thread."""
