"""Use cases: one function for each thing a fitter does."""
