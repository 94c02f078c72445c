"""A headless Chromium for the tests of the page: the network is cut, and no console error passes."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from filelock import FileLock
from playwright.sync_api import Browser, Page, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome")
SOFTWARE_GL = ("--use-angle=swiftshader", "--enable-unsafe-swiftshader")


@cache
def browser_path() -> str | None:
    """Return where the browser is, None for the one that playwright keeps; install one where there is none.

    A machine with neither rights to install packages nor a network fails the test, which says what to do.
    """
    found = _on_path()
    if found is None:
        # Several processes of one run may come here at once.
        with FileLock(Path(tempfile.gettempdir()) / "fixturecheck-browser.lock"):
            found = _on_path() or _from_packages()
            if found is None and not _kept_by_playwright():
                pytest.fail(f"no browser for the tests of the page: install one of {', '.join(NAMES)}")
    return found


def _on_path() -> str | None:
    return next((path for name in NAMES if (path := shutil.which(name))), None)


def _from_packages() -> str | None:
    apt = shutil.which("apt-get")
    if apt is None or os.geteuid() != 0:
        return None
    alone = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    for asked in (["update", "-qq"], ["install", "-y", "-qq", "--no-install-recommends", "chromium"]):
        subprocess.run([apt, *asked], check=False, capture_output=True, env=alone)
    return _on_path()


def _kept_by_playwright() -> bool:
    done = subprocess.run(
        [sys.executable, "-m", "playwright", "install", "chromium"], check=False, capture_output=True
    )
    return done.returncode == 0


@contextmanager
def browsing() -> Iterator[Browser]:
    """Yield a browser."""
    path = browser_path()
    with sync_playwright() as running:
        browser = running.chromium.launch(executable_path=path, args=list(SOFTWARE_GL))
        yield browser
        browser.close()


@contextmanager
def opened(browser: Browser, path: Path, *, before: str = "", **options: Any) -> Iterator[Page]:
    """Yield a page opened from the disk without a network; whatever it complains of fails the test.

    `before` is a script that runs before those of the page.
    """
    context = browser.new_context(offline=True, **{"viewport": {"width": 1300, "height": 900}, **options})
    page = context.new_page()
    if before:
        page.add_init_script(before)
    complaints: list[str] = []
    page.on("console", lambda m: complaints.append(m.text) if m.type in {"error", "warning"} else None)
    page.on("pageerror", lambda e: complaints.append(str(e)))
    page.on("request", lambda r: complaints.append(r.url) if not r.url.startswith("file:") else None)
    page.goto(path.as_uri())
    try:
        yield page
    finally:
        context.close()
    # A software renderer remarks on pixels being read back; that is the test's own doing.
    assert [c for c in complaints if "ReadPixels" not in c and "CONTEXT_LOST" not in c] == []


def shown(page: Page) -> Page:
    """Wait until the view has drawn and stands still."""
    page.wait_for_function(
        "globalThis.setUpView && setUpView.frames > 0 && !setUpView.flight && !setUpView.asked"
    )
    return page


def pixel(page: Page, place: list[float]) -> tuple[int, int, int]:
    """Return the colour drawn at a place of the set-up."""
    rgba = page.evaluate(
        """([x, y, z]) => {
          const view = setUpView, gl = view.painter.gl, { width, height } = view.canvas;
          const [u, v] = view.camera.seen([x, y, z], width, height);
          const out = new Uint8Array(4);
          gl.readPixels(Math.round(u), Math.round(height - v), 1, 1, gl.RGBA, gl.UNSIGNED_BYTE, out);
          return [...out];
        }""",
        place,
    )
    return rgba[0], rgba[1], rgba[2]
