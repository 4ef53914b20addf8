"""Bench measurements: readings of printed features, and the tables they come in."""
