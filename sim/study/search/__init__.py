"""The best designs for what is asked: many designs judged, checked, priced, and those that none other beats."""
