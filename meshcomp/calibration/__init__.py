"""Calibration of one printer, material and setting: estimation and records."""
