"""What the shipped scenarios say today: lowest frequencies, ringing peaks, path errors. It pins us to ourselves.

    python -m tests.golden            writes golden.json anew and tells how far each number moved

A number that moves has a reason, which belongs in the message of the commit that stores it.
"""
