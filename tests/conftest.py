"""What holds for every test: no clock for hypothesis, and recorded figures as text.

The kernel's first call may take a second. Tests run side by side in processes, between which only plain
values go, and no arrays' numbers.
"""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "shop", deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("shop")


@pytest.fixture(name="record_property")
def _record_property(record_property):
    return lambda name, value: record_property(name, str(value))
