"""Drawings made of lines that scale: the build sheet, and what stands on a page. Every word in them is escaped."""
