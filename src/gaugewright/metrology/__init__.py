"""Quantities with uncertainty, least squares, rounding, En numbers."""
