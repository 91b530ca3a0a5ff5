"""What the tool is asked to do, as a function of time: patterns, programs, look-ahead, profiles, shapers."""
