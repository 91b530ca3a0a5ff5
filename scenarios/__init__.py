"""Shipped machines and moves of our own invention: the shelf that tests, benchmarks, viewer and README share."""
