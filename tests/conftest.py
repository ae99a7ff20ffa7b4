"""For all tests: hypothesis judges answers, not the speed of a busy machine (a compiled loop's first call is slow).

Forty examples a property keep the whole suite within two minutes on two cores; where more are needed, the test says so.
"""

import os

from hypothesis import HealthCheck, settings

settings.register_profile("house", max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("house")

# The commands that tests start in processes of their own start in half the time where they find bytecode.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
