"""Conductors, voltage drop, fuses, supply and standing current, pin map, the shared bus."""
