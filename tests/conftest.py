"""For all tests: hypothesis judges answers, not the speed of a busy machine (a compiled loop's first call is slow)."""

from hypothesis import HealthCheck, settings

settings.register_profile("house", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")
