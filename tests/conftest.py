"""Settings of all tests."""

from hypothesis import settings

# No property is timed: a busy machine would fail it.
settings.register_profile("untimed", parent=settings(), deadline=None)
settings.load_profile("untimed")
