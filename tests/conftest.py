"""Settings for all tests: random ones draw the same examples every time, and none fails for being slow."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile("steady", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("steady")
