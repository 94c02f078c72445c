"""What a result points at, and the bodies it was made of: pieces of geometry by name and role, and places."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

Vector = tuple[float, float, float]


class Role(StrEnum):
    """What a named shape shows, which decides its colour and the file it is written to."""

    PART = "part"
    FIXTURE = "fixture"
    POLE = "pole"
    WHEEL = "wheel"
    CUTTER = "cutter"
    TRAVEL = "travel"
    AREA = "area"
    LINE = "line"
    POINT = "point"
    NEAR = "near"
    OVERLAP = "overlap"
    COLLISION = "collision"
    LEFTOVER = "leftover"
    GOUGE = "gouge"
    GROUND = "ground"
    REST = "rest"
    BURR = "burr"
    TAKEN = "taken"
    ADDED = "added"
    REMOVED = "removed"
    MOVED = "moved"


BODIES = (Role.PART, Role.FIXTURE)
"""What stands in the set-up."""
PATCHES = (Role.AREA, Role.LINE, Role.POINT, Role.NEAR, Role.POLE, Role.BURR)
"""What lies on bodies and has no inside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedShape:
    """A piece of geometry that a finding, contact or body is about.

    Parameters
    ----------
    name : str
        Unique in a result; the name in setup.step.
    role : Role
        What it shows.
    geometry : object
        A kernel shape in world coordinates; only the kernel and the drawing side of report look inside.
    bodies : tuple of str
        Names of the bodies it belongs to or lies between.
    """

    name: str
    role: Role
    geometry: object = field(repr=False, compare=False)
    bodies: tuple[str, ...] = ()


def wheel_name(cut: str) -> str:
    """Return the name of the shape that shows the wheel of a cut.

    Parameters
    ----------
    cut : str
        Name of the cut.

    Returns
    -------
    str
        As `wheel top`.
    """
    return f"wheel {cut}"


def cutter_name(cut: str) -> str:
    """Return the name of the shape that shows the end mill of a run.

    Parameters
    ----------
    cut : str
        Name of the run.

    Returns
    -------
    str
        As `cutter top`.
    """
    return f"cutter {cut}"


StatedValue = float | int | str | bool | None | tuple["StatedValue", ...]
"""A stated value: a number, a text, a truth value, nothing, or a list of these."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedFact:
    """One value of a set-up.

    Parameters
    ----------
    of : str
        What it belongs to: `body`, `seat`, `cut`, `machine`.
    about : tuple of str
        Which one: a body's or cut's name, the two faces of a seat; empty where there is one only.
    key : str
        What is stated, its unit at the end; parts of a table by a dot.
    value : StatedValue
        In the unit of the key.
    """

    of: str
    about: tuple[str, ...]
    key: str
    value: StatedValue


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceDrawn:
    """A face of a body as it is drawn.

    Parameters
    ----------
    name : str
        What it is called, or `face_<n>` by its place.
    kind : str
        Of its surface: plane, cylinder, cone, sphere, torus, other.
    area_mm2 : float
        Its area.
    centre_mm : Vector
        Its centroid, in the body's own frame.
    normal : Vector or None
        Outward, of a flat face; None for a curved one.
    """

    name: str
    kind: str
    area_mm2: float
    centre_mm: Vector
    normal: Vector | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BodyDrawn:
    """A body as it is drawn.

    Parameters
    ----------
    name, role : str
        Its name, and `part` or `fixture`.
    volume_mm3 : float
        Its volume.
    centre_mm : Vector
        Its centre, in the machine's frame.
    size_mm : Vector
        Its extents along the axes of its own frame.
    at : tuple of float
        Where it stands: the rows of a matrix of 3 x 4, mm.
    faces : tuple of FaceDrawn
        Its faces, in the kernel's order.
    """

    name: str
    role: str
    volume_mm3: float
    centre_mm: Vector
    size_mm: Vector
    at: tuple[float, ...]
    faces: tuple[FaceDrawn, ...]
