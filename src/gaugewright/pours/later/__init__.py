"""Pours made after the table: is it still good, and what changed."""
