"""Gaugewright: from a bare tank and metered pours to litres that can be trusted."""

__version__ = "0.1.0"
