"""Sheets laid above a screen for a moment: keys, check, open, save, export, choosing designs."""
