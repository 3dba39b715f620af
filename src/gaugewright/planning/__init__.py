"""Where to drill, which pours to make, what to bring."""
