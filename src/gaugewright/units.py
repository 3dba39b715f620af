"""Unit conversions, for the edges only."""
