"""Fuel: density and thermal volume correction."""
