"""One fill: does this pour fit, what was mistyped, is the reading steady."""
