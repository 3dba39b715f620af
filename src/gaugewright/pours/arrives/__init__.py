"""Whether what the probe reads arrives at the other end: delay, gaps, scale, averaging."""
