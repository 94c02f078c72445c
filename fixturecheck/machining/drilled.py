"""A hole of a part as a drill meets it: where it starts and ends, how its rim slopes, what the tool takes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.drilling import point_length_mm, thread_of
from fixturecheck.errors import NotComputedError
from fixturecheck.kernel.brep.topology import edges_of, faces_of
from fixturecheck.kernel.construct import cone_tipped, cylinder
from fixturecheck.kernel.measure import is_inside, is_straight
from fixturecheck.kernel.place import matrix_of
from fixturecheck.kernel.sample import edge_points
from fixturecheck.kernel.shapes import Solid
from fixturecheck.numeric import square_to, to_vector
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.model import Body
from fixturecheck.setup.tools import Drilling
from fixturecheck.sizes.faces import holes_of

_ON_RIM = 48
_SAME_MM = 1e-6
_BESIDE_MM, _BELOW_MM = 1e-3, 1e-2
"""How far beside and below a rim material is looked for: an exit as steep as 84 degrees still is one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrilledHole:
    """A hole where its part stands.

    Parameters
    ----------
    diameter_mm : float
    axis : ndarray, shape (3,)
        Along the hole, upward.
    start : ndarray, shape (3,)
        Where its axis meets the plane through its upper rim.
    rim_high_mm, rim_low_mm : float
        How far along the axis the highest point of the upper rim is from `start`, and the lowest, which is
        negative.
    slope_deg : float
        Of the plane through the upper rim to the plane square to the axis.
    long_mm : float
        From `start` to the lowest point of the lower rim.
    through : bool
        Whether the hole is open below.
    """

    diameter_mm: float
    axis: Floats
    start: Floats
    rim_high_mm: float
    rim_low_mm: float
    slope_deg: float
    long_mm: float
    through: bool

    @property
    def end(self) -> Vector:
        """Where its axis is as low as its lower rim."""
        return to_vector(self.start - self.long_mm * self.axis)

    @property
    def tilt_deg(self) -> float:
        """How far its axis is from upright."""
        return math.degrees(math.acos(min(abs(float(self.axis[2])), 1.0)))


def hole_of(body: Body, drill: Drilling) -> DrilledHole:
    """Return the hole that is drilled.

    Parameters
    ----------
    body : Body
        The part, with its place.
    drill : Drilling
        Its `hole` is the name of the round face.

    Returns
    -------
    DrilledHole
        In the machine's frame, its axis upward.

    Raises
    ------
    NotComputedError
        The face is no whole round hole, or its rims are not found.
    """
    found = next((h for h in holes_of(body) if drill.hole in h.names), None)
    what = f"{body.name}.{drill.hole}"
    if found is None:
        raise NotComputedError(f"{what} is no round hole that goes all the way round")
    place = matrix_of(body.at)
    turn, shift = place[:3, :3], place[:3, 3]
    axis = turn @ found.face.axis
    axis = axis * (1.0 if axis[2] >= 0.0 else -1.0)
    origin = turn @ found.face.origin + shift
    rims = _rims(body, found.names, turn, shift)
    if len(rims) < 2:
        raise NotComputedError(f"{what} has no two rims, so where it starts and ends is not known")
    middles = [float((rim.mean(axis=0) - origin) @ axis) for rim in rims]
    upper = rims[int(np.argmax(middles))]
    lower_rim = rims[int(np.argmin(middles))]
    lower = float(((lower_rim - origin) @ axis).min())
    at_mm, slope_deg = _plane_of_rim(upper, origin, axis)
    heights = (upper - origin) @ axis - at_mm
    start = origin + at_mm * axis
    return DrilledHole(
        diameter_mm=2.0 * found.face.radius_mm,
        axis=axis,
        start=start,
        rim_high_mm=float(heights.max()),
        rim_low_mm=float(heights.min()),
        slope_deg=slope_deg,
        long_mm=at_mm - lower,
        through=_opens(body, (lower_rim - shift) @ turn, turn.T @ (origin - shift), turn.T @ axis),
    )


def _opens(body: Body, rim: Floats, origin: Floats, axis: Floats) -> bool:
    """Tell whether a hole comes out at its lower rim, (n, 3), in the part's own frame.

    No material then stands below the rim just beside the hole, as it does beside a bottom. A hole that opens
    into a room within the part has come out, too.
    """
    away = rim - origin
    out = away - np.outer(away @ axis, axis)
    out /= np.linalg.norm(out, axis=1)[:, None]
    beside = rim + _BESIDE_MM * out - _BELOW_MM * axis
    return not all(is_inside(body.solid, point) for point in beside[:: max(len(beside) // 8, 1)])


def below_hole(drill: Drilling, hole: DrilledHole, diameter_mm: float) -> dict[str, Solid]:
    """Return the end of the drill, and of the tap, that comes out below a hole that is open there, by name.

    Parameters
    ----------
    drill : Drilling
        As stated.
    hole : DrilledHole
        Where it stands.
    diameter_mm : float
        Of the drill.

    Returns
    -------
    dict of str to Solid
        In the machine's frame, as wide as the hole.
    """
    if not hole.through:
        return {}
    deep_mm = {} if drill.drilled else {"drill": tip_depth_mm(drill, hole, diameter_mm)}
    if drill.thread is not None:
        deep_mm["tap"] = _tap_depth_mm(drill, hole)
    return {
        name: cylinder(0.5 * hole.diameter_mm, to_vector(hole.start - deep * hole.axis), hole.end)
        for name, deep in deep_mm.items()
        if deep > hole.long_mm + _SAME_MM
    }


def tool_solids(drill: Drilling, hole: DrilledHole, diameter_mm: float) -> dict[str, Solid]:
    """Return what each tool of a hole, its nut and the nose above take up over the whole stroke, by name.

    The spot drill makes a spot as wide as the drill. The lead of the tap goes on below the last full thread;
    where nothing says how deep that is there is no tap.

    Parameters
    ----------
    drill : Drilling
        As stated.
    hole : DrilledHole
        Where it stands.
    diameter_mm : float
        Of the drill.

    Returns
    -------
    dict of str to Solid
        In the machine's frame: `drill`, `nut` and `nose`, and as far as they are stated `spot drill` and
        `tap`, each with its `nut of the ...` and `nose of the ...`.
    """
    found: dict[str, Solid] = {}
    if not drill.drilled:
        depth_mm = tip_depth_mm(drill, hole, diameter_mm)
        point_mm = point_length_mm(diameter_mm, drill.point_deg)
        found |= _held(drill, hole, "drill", diameter_mm, (depth_mm, point_mm, drill.stick_out_mm))
    if drill.spot_deg is not None:
        wide_mm = max(diameter_mm, drill.spot_mm or diameter_mm)
        point_mm, depth_mm = (point_length_mm(d, drill.spot_deg) for d in (wide_mm, diameter_mm))
        out_mm = drill.spot_stick_out_mm or drill.stick_out_mm
        found |= _held(drill, hole, "spot drill", wide_mm, (depth_mm, point_mm, out_mm))
    if drill.thread is not None and (drill.thread_mm is not None or hole.through):
        major_mm, pitch_mm = thread_of(drill.thread)
        lead_mm, out_mm = drill.lead_pitches * pitch_mm, drill.tap_stick_out_mm or drill.stick_out_mm
        found |= _held(drill, hole, "tap", major_mm, (_tap_depth_mm(drill, hole), lead_mm, out_mm))
    return found


def _tap_depth_mm(drill: Drilling, hole: DrilledHole) -> float:
    """Return how far a tap goes below the start of a hole: its lead goes beyond the last full thread."""
    deep_mm = hole.long_mm if drill.thread_mm is None else drill.thread_mm
    return deep_mm + drill.lead_pitches * thread_of(drill.thread or "")[1]


def _held(
    drill: Drilling, hole: DrilledHole, name: str, diameter_mm: float, lengths_mm: tuple[float, float, float]
) -> dict[str, Solid]:
    """Return a tool, its nut and the nose above.

    The lengths are how far its tip is below the start of the hole, that of its point, and from tip to nut.
    """
    depth_mm, point_mm, out_mm = lengths_mm
    tip_mm = -depth_mm
    nut_mm = tip_mm + out_mm
    nose_mm = nut_mm + drill.nut_long_mm
    of_it = "" if name == "drill" else f" of the {name}"

    def at(along_mm: float) -> Vector:
        return to_vector(hole.start + along_mm * hole.axis)

    return {
        name: cone_tipped(diameter_mm / 2, at(tip_mm), at(tip_mm + point_mm), at(nut_mm)),
        f"nut{of_it}": cylinder(drill.nut_mm / 2, at(nut_mm), at(nose_mm)),
        f"nose{of_it}": cylinder(drill.nose_mm / 2, at(nose_mm), at(nose_mm + _RAISED_MM)),
    }


_RAISED_MM = 100.0
"""How much of what turns above the nut is looked at."""


def tip_depth_mm(drill: Drilling, hole: DrilledHole, diameter_mm: float) -> float:
    """Return how far the tip goes below the start of the hole, mm.

    Parameters
    ----------
    drill : Drilling
        Angle of the point, and how far it breaks through.
    hole : DrilledHole
        The hole; one that is open below is drilled beyond its end.
    diameter_mm : float
        Diameter of the drill.

    Returns
    -------
    float
        Length of the hole, what goes beyond it, and the point.
    """
    beyond = drill.breaks_through_mm if hole.through else 0.0
    return hole.long_mm + beyond + point_length_mm(diameter_mm, drill.point_deg)


def _rims(body: Body, names: tuple[str, ...], turn: Floats, shift: Floats) -> list[Floats]:
    """Return points of each rim of a hole where it stands; arcs that meet are one rim."""
    faces, every = body.face_names(), faces_of(body.solid)
    own = [every[i] for i, name in enumerate(faces) if name in names]
    arcs = [edge_points(edge, _ON_RIM) for face in own for edge in edges_of(face) if not is_straight(edge)]
    together: list[list[Floats]] = []
    for arc in arcs:
        for group in together:
            if (
                min(
                    float(np.linalg.norm(arc[e] - other[f]))
                    for other in group
                    for e in (0, -1)
                    for f in (0, -1)
                )
                < 1e-6
            ):
                group.append(arc)
                break
        else:
            together.append([arc])
    return [np.concatenate(group) @ turn.T + shift for group in together]


def _plane_of_rim(rim: Floats, origin: Floats, axis: Floats) -> tuple[float, float]:
    """Return where the best plane through a rim meets the axis, mm, and its slope, degrees."""
    away = rim - origin
    along = away @ axis
    radial = away - along[:, None] * axis
    ahead, aside = square_to(axis)
    round_rad = np.arctan2(radial @ aside, radial @ ahead)
    order = np.argsort(round_rad, kind="stable")
    gaps = np.diff(round_rad[order], append=round_rad[order[0]] + 2.0 * np.pi)
    # Each point stands for its share of the way round, however the kernel spaces them.
    weights = np.empty(len(rim))
    weights[order] = np.sqrt(0.5 * (gaps + np.roll(gaps, 1)))
    terms = np.column_stack([np.ones(len(rim)), radial])
    fitted, *_ = np.linalg.lstsq(terms * weights[:, None], along * weights, rcond=None)
    return float(fitted[0]), math.degrees(math.atan(float(np.linalg.norm(fitted[1:]))))
