"""Places: bodies, guides, wheels, belts, frame, the way of every belt, and one small file a layout."""
