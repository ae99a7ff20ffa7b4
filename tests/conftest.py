"""For all tests: hypothesis judges answers, not the speed of a busy machine (the first call of a compiled loop is slow)."""

from hypothesis import HealthCheck, settings

settings.register_profile("house", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")
