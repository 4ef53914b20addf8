"""Test pieces to print and measure: meshes, reading tables and measuring sheets."""
