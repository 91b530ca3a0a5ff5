"""Places: bodies and what slides on what, wheels and belts, the frame; one small file a layout."""
