"""How much of the engine the tests hold: small faults are put into `sim` one at a time, and what no test notices is listed.

    python -m tests.mutation                          150 faults in every room, seed 1 (hours)
    python -m tests.mutation machine model --faults 60 --seed 7 --workers 2
    python -m tests.mutation --list survivors.txt     the survivors into a file as well
    python -m tests.mutation --again survivors.txt    only those, once tests have been written for them

Not run by pytest. The tree itself is never changed: each worker has a copy of its own.
"""
