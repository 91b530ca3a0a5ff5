"""Bringing the model in line with a machine that stands there: what was measured on it, and which numbers that tells.

    measured = read_measured("measured.toml")
    found = fit(load("desk-corexy"), measured)

measured.py reads the file, columns.py and sound.py what it names; knobs.py says which numbers are free, bench.py what the
model says to each measurement; problem.py puts both side by side, solve.py turns the knobs (descend.py the way down),
posterior.py says how sure they are then, widths.py how far the badly known ones may be. words.py tells it.
"""
