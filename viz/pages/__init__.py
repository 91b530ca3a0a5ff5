"""Whole still pictures: of one run, of several compared, of limits, of a ripple map."""
