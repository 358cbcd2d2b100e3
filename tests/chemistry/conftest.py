"""Property tests of the chemistry are never judged by the clock: a busy machine is no fault of the water."""

from hypothesis import settings

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")
