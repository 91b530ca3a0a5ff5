"""Words and tables for the terminal, in 80 columns, with or without colour."""
