"""What a tank holds: shapes, the solid, litres at a level and a tilt."""
