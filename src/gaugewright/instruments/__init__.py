"""Where readings come from, real, replayed, typed or simulated."""
