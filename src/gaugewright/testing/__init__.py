"""Contract tests and fakes, public."""
