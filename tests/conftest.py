"""What holds for every test: no wall clock decides, a busy machine is slow and not wrong."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
