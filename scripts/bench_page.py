"""The page of a check: how large it is without its pictures, and how soon its 3-D view is drawn."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from bench_timing import MissingError

SETUP = Path(__file__).resolve().parents[1] / "models" / "index_pawl" / "rev_a.py"
BROWSERS = ("chromium", "chromium-browser", "google-chrome")
RUNS = 5
DRAWN = "globalThis.setUpView && setUpView.frames > 0"


@contextmanager
def _page() -> Iterator[Path]:
    """Yield the page of the gang of index pawls, without pictures."""
    from fixturecheck import check, load, write_report

    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        write_report(check(load(SETUP)), out, pictures=False)
        yield out / "report.html"


def size() -> dict[str, object]:
    """Bytes of the page of four pawls in a V-block, with the 3-D view and without the pictures."""
    with _page() as page:
        found = page.stat().st_size
    return {"figure": found / 1e6, "goal": 0.8, "says": f"MB: {found} bytes of one file, pictures left out"}


def first_frame() -> dict[str, object]:
    """Seconds from opening the page to the first frame of its 3-D view, in a browser that is running."""
    from playwright.sync_api import sync_playwright

    browser = next((path for name in BROWSERS if (path := shutil.which(name))), None)
    if browser is None:
        raise MissingError(f"none of {', '.join(BROWSERS)} is installed")
    times_s = []
    with _page() as page, sync_playwright() as running:
        arguments = ["--use-angle=swiftshader", "--enable-unsafe-swiftshader"]
        started = running.chromium.launch(executable_path=browser, args=arguments)
        for _ in range(RUNS + 1):
            tab = started.new_page()
            start = time.perf_counter()
            tab.goto(page.as_uri())
            tab.wait_for_function(DRAWN, polling=10)
            times_s.append(time.perf_counter() - start)
            tab.close()
        started.close()
    # The first starts the browser's drawing process.
    least_s = min(times_s[1:])
    return {
        "figure": least_s,
        "goal": 1.0,
        "says": f"s, the least of {RUNS}; the first after a start {times_s[0]:.2f} s",
    }
