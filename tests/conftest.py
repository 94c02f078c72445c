"""What holds for every test: no clock for hypothesis, and recorded figures as text.

The kernel's first call may take a second. Tests run side by side in processes, between which only plain
values go, and no arrays' numbers. Files with slow tests come first there, so that none is left alone
with one at the end.
"""

from __future__ import annotations

import gc
import os
import shutil
import tempfile
from collections import Counter

import pytest
from hypothesis import HealthCheck, settings

from fixturecheck.cache import FOLDER_VARIABLE
from fixturecheck.runs.check import ONE_THREAD
from tests.comparisons import Compared

# The same examples in every run: a run that fails says something of the change it is run on. New examples
# are looked for with `--hypothesis-profile=explore`.
settings.register_profile(
    "shop", deadline=None, derandomize=True, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.register_profile("explore", settings.get_profile("shop"), derandomize=False, print_blob=True)
settings.load_profile("shop")


def pytest_configure(config):
    """Give the run a cache of its own, and each of its processes one thread.

    Every answer in the cache is this source's, and each is worked out once. Two processes that both solve
    on two threads of two cores wait for each other.
    """
    if not hasattr(config, "workerinput"):
        os.environ.update(ONE_THREAD)
        config.cache_folder = os.environ[FOLDER_VARIABLE] = tempfile.mkdtemp(prefix="fixturecheck-cache-")


def pytest_unconfigure(config):
    if hasattr(config, "cache_folder"):
        shutil.rmtree(config.cache_folder, ignore_errors=True)


@pytest.hookimpl(wrapper=True)
def pytest_collection(session):
    """Collect without the collector of garbage: thousands of tests are made, and all of them stay."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


@pytest.fixture(name="record_property")
def _record_property(record_property):
    return lambda name, value: record_property(name, str(value))


@pytest.fixture
def compared(request):
    """What a test found, held against its rows on the page of comparisons."""
    return Compared(test=request.node.nodeid.split("[", 1)[0])


def pytest_collection_modifyitems(config, items):
    """In a process of several, put files with slow tests first, then those with the most tests."""
    if not hasattr(config, "workerinput"):
        return
    tests = Counter(item.path for item in items)
    slow = Counter(item.path for item in items if item.get_closest_marker("slow"))
    items.sort(key=lambda item: (-slow[item.path], -tests[item.path], item.path))
