"""Property tests here make tables and fit curves: how long one example takes says nothing of whether it is right."""

from hypothesis import settings

settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")
