"""The five screens of the window, and what only they are made of."""
