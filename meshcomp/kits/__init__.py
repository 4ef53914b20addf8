"""Whole kits: every part compensated, every mating pair judged."""
