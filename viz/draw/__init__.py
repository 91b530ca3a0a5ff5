"""Drawing with pixels: theme, shapes, text, image files, and a machine seen from above."""
