"""The job book: entries, hash chain, the fold that gives a job's state, the store."""
