"""Everything a person sees: the command line, terminal tables, still pictures, film and the window."""

import os

# pygame greets on standard output when it is imported, which would spoil --json.
os.environ.setdefault("PYGAME_HIDE_SUPPORT_PROMPT", "1")
