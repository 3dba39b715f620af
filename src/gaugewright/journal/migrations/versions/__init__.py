"""One module for each schema; never edited after a release."""
