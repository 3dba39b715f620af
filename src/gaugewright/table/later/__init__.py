"""A table after its day: on another probe, for a sister tank, held against new pours."""
