"""The fit, its band, thinning, comparing, table files."""
