"""How much of the engine the tests hold: small faults are put into `sim` one at a time, and what no test notices is listed.

    python -m tests.mutation                          150 faults in every room, seed 1
    python -m tests.mutation machine model --faults 60 --seed 7
    python -m tests.mutation order --again --patience 60     only what was not noticed, with more time for tests
    python -m tests.mutation --table                  what is known so far

Not run by pytest. The tree itself is never changed: a fault is put into functions in memory, or into a module as it is
loaded. First it is recorded which test runs which line; a fault is then shown only to tests that run its statement.
Everything is written down as it comes, in a folder outside the tree, and what is there is not done again.
"""
