"""Ctrl-C with words."""


class InterruptedWhole(KeyboardInterrupt):
    """Ctrl-C was heard after what was finished stood in its place, which the words say.

    A class of its own: Python puts words into a plain KeyboardInterrupt that comes while a text is decoded.
    """
