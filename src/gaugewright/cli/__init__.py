"""The commands: parse, call a use case, show the result."""
