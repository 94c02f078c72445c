"""What a result points at: pieces of geometry by name and role, and places."""

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
    """Return the name of the shape that shows the wheel of a cut."""
    return f"wheel {cut}"


def cutter_name(cut: str) -> str:
    """Return the name of the shape that shows the end mill of a run."""
    return f"cutter {cut}"
