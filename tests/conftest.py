"""What holds for every test: hypothesis keeps no clock, since the kernel's first call may take a second."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "shop", deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("shop")
