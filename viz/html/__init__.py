"""A design as one HTML file to hand to others: no network, a strict policy, everything a person wrote escaped."""
