"""The 3-D view as the page takes it: three pieces of text, and how its data is packed into one."""

from __future__ import annotations

import base64
import gzip
import json
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import numpy as np
import numpy.typing as npt

_KINDS = {"i4": "<i4", "u2": "<u2", "u4": "<u4", "u1": "<u1"}
_WIDE = 65536
STEP_MM = 1e-4
"""Coordinates are kept to a tenth of a micrometre."""


class Store:
    """Gathers arrays behind one another; equal arrays are kept once."""

    def __init__(self) -> None:
        self._pieces: list[bytes] = []
        self._size = 0
        self._known: dict[tuple[str, bytes], list[Any]] = {}

    def lengths(self, values: npt.NDArray[np.float64]) -> list[Any]:
        """Keep points, shape (n, d), as whole steps and return where they are, with d.

        First all x, then all y, and so on, each less the one before it: neighbours lie in line so often that
        this takes a quarter of the room of floats.
        """
        steps = np.round(values / STEP_MM).astype(np.int64)
        return [*self._keep(np.diff(steps, axis=0, prepend=0).T, "i4"), values.shape[1]]

    def numbers(self, values: npt.NDArray[Any]) -> list[Any]:
        """Keep whole numbers from 0 up, in as few bytes as they need, and return where they are."""
        return self._keep(values, "u2" if int(np.max(values, initial=0)) < _WIDE else "u4")

    def colours(self, values: npt.NDArray[Any]) -> list[Any]:
        """Keep colours, 0 to 255 each, and return where they are."""
        return self._keep(values, "u1")

    def _keep(self, values: npt.NDArray[Any], kind: str) -> list[Any]:
        data = np.ascontiguousarray(values, dtype=_KINDS[kind]).tobytes()
        place = self._known.get((kind, data))
        if place is None:
            place = [kind, self._size, int(np.size(values))]
            self._known[kind, data] = place
            # Every array starts at a multiple of four, as typed arrays of the browser need it.
            padded = data + b"\0" * (-len(data) % 4)
            self._pieces.append(padded)
            self._size += len(padded)
        return place

    def packed(self, values: Mapping[str, Any]) -> str:
        """Return plain values and all arrays as base64 text.

        Unpacked it is the length of the JSON in four bytes, lowest first; the JSON, filled up with blanks to
        a multiple of four bytes; and the arrays, which the JSON names by kind, first byte and count.
        """
        text = json.dumps(values, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
        text += b" " * (-len(text) % 4)
        whole = len(text).to_bytes(4, "little") + text + b"".join(self._pieces)
        return base64.b64encode(gzip.compress(whole, compresslevel=9, mtime=0)).decode("ascii")


SCRIPTS = ("maths.js", "scene.js", "paint.js", "hand.js", "panel.js", "main.js")
"""In the order in which they are put together; each uses only what stands before it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ViewerMarkup:
    """The pieces that the page puts where they belong.

    Parameters
    ----------
    style : str
        What goes into the page's style sheet.
    place : str
        The markup of the view.
    script : str
        Its data with the script, for the end of the page.
    """

    style: str
    place: str
    script: str


def view_with(data: str) -> ViewerMarkup:
    """Return the view that shows some packed data.

    Parameters
    ----------
    data : str
        What `packed_view` returned.
    """
    return ViewerMarkup(
        style=_text("view.css"),
        place=_text("place.html"),
        script=(f'<script type="text/plain" id="view-data">{data}</script>\n<script>\n{script()}\n</script>'),
    )


def script() -> str:
    """Return the whole script, closed in itself."""
    pieces = "\n".join(_text(name) for name in SCRIPTS)
    return f'"use strict";\n(() => {{\n{pieces}\n}})();'


def _text(name: str) -> str:
    return files("fixturecheck.report.viewer").joinpath(name).read_text(encoding="utf-8").strip()
