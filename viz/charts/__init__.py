"""What a run shows in one panel: curves over time, spectrum, printed line, and the pieces around them."""
