"""Settings of the property tests here."""

from hypothesis import settings

# The first call of a lazily imported library, or a busy machine, is no failure.
settings.register_profile("no deadline", deadline=None)
settings.load_profile("no deadline")
