"""What holds for every test: a busy machine is no fault of the code, so hypothesis does not judge how fast it draws."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile("trayside", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("trayside")
