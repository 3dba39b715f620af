"""Whether a probe, its table and its unit are still what they were."""
