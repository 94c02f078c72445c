"""What holds for every test: no clock for hypothesis, and recorded figures as text.

The kernel's first call may take a second. Tests run side by side in processes, between which only plain
values go, and no arrays' numbers. Files with slow tests come first there, so that none is left alone
with one at the end.
"""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "shop", deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.load_profile("shop")


@pytest.fixture(name="record_property")
def _record_property(record_property):
    return lambda name, value: record_property(name, str(value))


def pytest_collection_modifyitems(config, items):
    """In a process of several, put files with slow tests first, then those with the most tests."""
    if not hasattr(config, "workerinput"):
        return
    tests = Counter(item.path for item in items)
    slow = Counter(item.path for item in items if item.get_closest_marker("slow"))
    items.sort(key=lambda item: (-slow[item.path], -tests[item.path], item.path))
