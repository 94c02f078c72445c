"""What can be seen in the 3-D view: every shape once, a wheel as its profile, and how the page takes it."""

from __future__ import annotations

import base64
import gzip
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

import numpy as np
import numpy.typing as npt

from fixturecheck.arrays import Floats, Segment
from fixturecheck.kernel.mesh.triangles import Mesh
from fixturecheck.numeric import circle_through
from fixturecheck.report.pictures.figures import ROLES, WORDS, Figure, body_colours, shaded
from fixturecheck.result import Result
from fixturecheck.result.contact import Contact
from fixturecheck.result.shapes import PATCHES, NamedShape, Role
from fixturecheck.setup.model import Setup
from fixturecheck.shop.wheel_profile import profile
from fixturecheck.wording.sentences import shown

_KINDS = {"i4": "<i4", "u2": "<u2", "u4": "<u4", "u1": "<u1"}
_WIDE = 65536
STEP_MM = 1e-4
"""Coordinates are kept to a tenth of a micrometre."""
SCRIPTS = ("maths.js", "scene.js", "paint.js", "hand.js", "panel.js", "main.js")
"""In the order in which they are put together; each uses only what stands before it."""
LAYERS: Mapping[str, str] = {
    "parts": "parts",
    "fixtures": "what holds them",
    "wheel": "wheel",
    "cutter": "cutting tool",
    "travel": "room of the travel",
    "contacts": "contacts",
    "gaps": "small gaps",
    "trouble": "overlap, collision, gouge, leftover",
    "ground": "parts as cut",
    "rest": "parts at rest",
    "pull": "pull of the magnet",
    "flux": "flux",
    "moved": "first move, drawn larger",
}
"""What can be shown or hidden as one, with its words on the page."""
LAYER_OF: Mapping[Role, str] = {
    Role.PART: "parts",
    Role.FIXTURE: "fixtures",
    Role.POLE: "fixtures",
    Role.WHEEL: "wheel",
    Role.CUTTER: "cutter",
    Role.TRAVEL: "travel",
    Role.AREA: "contacts",
    Role.LINE: "contacts",
    Role.POINT: "contacts",
    Role.NEAR: "gaps",
    Role.OVERLAP: "trouble",
    Role.COLLISION: "trouble",
    Role.LEFTOVER: "trouble",
    Role.GOUGE: "trouble",
    Role.GROUND: "ground",
    Role.REST: "rest",
    Role.BURR: "trouble",
    Role.TAKEN: "ground",
}
_OPACITY = {Role.WHEEL: 0.3, Role.CUTTER: 0.4, Role.TRAVEL: 0.15}
"""What passes over the work is seen through."""
_ARC_STEPS = 8
_WHEEL_TURN = 96


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

    Returns
    -------
    ViewerMarkup
        Style, place and script for the page.
    """
    return ViewerMarkup(
        style=_text("view.css"),
        place=_text("place.html"),
        script=(f'<script type="text/plain" id="view-data">{data}</script>\n<script>\n{script()}\n</script>'),
    )


def script() -> str:
    """Return the whole script, closed in itself.

    Returns
    -------
    str
        JavaScript.
    """
    pieces = "\n".join(_text(name) for name in SCRIPTS)
    return f'"use strict";\n(() => {{\n{pieces}\n}})();'


def _text(name: str) -> str:
    return files("fixturecheck.report.viewer").joinpath(name).read_text(encoding="utf-8").strip()


def things_of(result: Result, setup: Setup, meshes: Mapping[str, Mesh], store: Store) -> list[dict[str, Any]]:
    """Return every shape of a result as the view knows it, in the order of the result.

    Each has a name, role, layer, the words of its role, a colour, whether it encloses a volume (`solid`), how
    opaque it is (`opacity`), and either a `mesh` that stands `at` a place, or the `turned` profile of a wheel
    round an axis along Y through `at`. Contacts say their gap.

    Parameters
    ----------
    result : Result
        What was found.
    setup : Setup
        The set-up that was checked.
    meshes : mapping of str to Mesh
        By the name of the shape.
    store : Store
        Takes the arrays.

    Returns
    -------
    list of dict
        One for each shape.
    """
    colours = body_colours(result.shapes)
    contacts = {c.patch: c for c in result.contacts if c.patch}
    widest_um = max((c.gap_mean_um for c in contacts.values()), default=0.0)
    things = []
    for shape in result.shapes:
        thing: dict[str, Any] = {
            "name": shape.name,
            "layer": LAYER_OF[shape.role],
            "role": str(shape.role),
            "words": WORDS[shape.role],
            "rgb": list(colours[shape.name]),
            "solid": shape.role not in PATCHES,
            "opacity": _OPACITY.get(shape.role, 1.0),
            "bodies": list(shape.bodies),
            **_form(shape, setup, meshes[shape.name], store),
        }
        if shape.name in contacts:
            thing["gap"] = _gap(contacts[shape.name], widest_um, result.shown_in)
        things.append(thing)
    return things


def figure_thing(figure: Figure, layer: str, opacity_share: float, store: Store) -> dict[str, Any]:
    """Return coloured triangles as the view knows them; they are no body and are not cut open.

    Parameters
    ----------
    figure : Figure
        The coloured triangles and lines.
    layer : str
        Key of `LAYERS`.
    opacity_share : float
        0 is clear, 1 opaque.
    store : Store
        Takes the arrays.

    Returns
    -------
    dict
        A thing as of `things_of`, at the origin, with a colour for each corner.
    """
    # No two triangles of different colours share a corner, so that a colour for each corner is enough.
    colours = np.zeros((len(figure.points_mm), 3), dtype=np.int64)
    colours[figure.triangles.reshape(-1)] = np.repeat(figure.rgb, 3, axis=0)
    return {
        "name": figure.name,
        "layer": layer,
        "role": "figure",
        "words": LAYERS[layer],
        "rgb": list(ROLES[Role.REST]),
        "solid": False,
        "opacity": opacity_share,
        "bodies": [],
        "at": [0.0, 0.0, 0.0],
        "mesh": {
            "points": store.lengths(figure.points_mm),
            "triangles": store.numbers(figure.triangles),
            "lines": _lines(figure.lines_mm, np.zeros(3), store),
            "dots": store.lengths(np.zeros((0, 3))),
            "colours": store.colours(colours),
        },
    }


def _gap(contact: Contact, widest_um: float, units: str) -> dict[str, Any]:
    """Return what the view says of a gap and its colour on the scale from closed to the widest."""
    share = contact.gap_mean_um / widest_um if widest_um > 0 else 0.0
    return {
        "between": f"{contact.a} on {contact.b}",
        "says": f"gap {shown(contact.gap_mean_um, 'um', units)}",
        "rgb": shaded(np.array([share]))[0].tolist(),
    }


def gap_scale(result: Result) -> dict[str, Any] | None:
    """Return the scale of gaps by colour; None where no gap is open.

    Parameters
    ----------
    result : Result
        The mean gaps of its contacts that have a patch decide.

    Returns
    -------
    dict or None
        `title`; `ends`, zero and the widest gap as texts; `rgb`, the colours between.
    """
    widest_um = max((c.gap_mean_um for c in result.contacts if c.patch), default=0.0)
    if widest_um <= 0:
        return None
    ends = [shown(0.0, "um", result.shown_in), shown(widest_um, "um", result.shown_in)]
    return {"title": "mean gap", "ends": ends, "rgb": scale_colours()}


def scale_colours() -> list[list[int]]:
    """Return the colours of a scale, from little to much.

    Returns
    -------
    list of list of int
        Eleven, each red, green and blue, 0 to 255.
    """
    return [list(map(int, rgb)) for rgb in shaded(np.linspace(0.0, 1.0, 11))]


def _form(shape: NamedShape, setup: Setup, mesh: Mesh, store: Store) -> dict[str, Any]:
    if shape.role is Role.WHEEL:
        low, high = mesh.points_mm.min(axis=0), mesh.points_mm.max(axis=0)
        outline = _polyline(profile(setup.wheel, filled=True).segments)
        centre = (low[0] + high[0]) / 2, low[1], (low[2] + high[2]) / 2
        return {"at": _place(centre), "turned": {"profile": store.lengths(outline), "steps": _WHEEL_TURN}}
    every = mesh.all_points_mm()
    at: Floats = np.round(every.min(axis=0), 4) if len(every) else np.zeros(3)
    return {
        "at": _place(at),
        "mesh": {
            "points": store.lengths(mesh.points_mm - at),
            "triangles": store.numbers(mesh.triangles),
            "lines": _lines(mesh.lines_mm, at, store),
            "dots": store.lengths(mesh.dots_mm.reshape(-1, 3) - at),
        },
    }


def _lines(lines_mm: tuple[Floats, ...], at: Floats, store: Store) -> list[Any]:
    """Keep polylines as pieces, two ends each."""
    pieces = [np.stack([line[:-1], line[1:]], axis=1).reshape(-1, 3) - at for line in lines_mm]
    return store.lengths(np.vstack([np.zeros((0, 3)), *pieces]))


def _place(at: Any) -> list[float]:
    return [round(float(v), 4) + 0.0 for v in at]


def _polyline(segments: tuple[Segment, ...]) -> Floats:
    """Return an outline as corners (y, r), its arcs in short straight pieces, closed."""
    corners: list[tuple[float, float]] = []
    for segment in segments:
        corners.append(segment[1])
        if segment[0] == "arc":
            corners += _along_arc(segment[1], segment[2], segment[3])
    return np.array([*corners, corners[0]])


def _along_arc(
    start: tuple[float, float], middle: tuple[float, float], end: tuple[float, float]
) -> list[tuple[float, float]]:
    """Return points of an arc between its ends, from the circle through three points."""
    found = circle_through(start, middle, end)
    if found is None:
        return []
    ox, oy, radius = found
    first, half, last = (math.atan2(y - oy, x - ox) for x, y in (start, middle, end))
    sweep = (last - first) % (2 * math.pi)
    if (half - first) % (2 * math.pi) > sweep:
        sweep -= 2 * math.pi
    angles = [first + sweep * k / _ARC_STEPS for k in range(1, _ARC_STEPS)]
    return [(ox + radius * math.cos(t), oy + radius * math.sin(t)) for t in angles]
