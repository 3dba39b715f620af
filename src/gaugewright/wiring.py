"""Conductors, voltage drop, fuses, standing current, pin map."""
