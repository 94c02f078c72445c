"""What holds a set-up: contact patches as points with stiffness and friction, pull as loads; who can move."""

from __future__ import annotations

import math
from collections.abc import Callable, Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fixturecheck.contact.model import ContactMap, Patch
from fixturecheck.faceref import FaceRef
from fixturecheck.footing import Base, footings
from fixturecheck.holding.cells import points_of
from fixturecheck.holding.pull import Pulls
from fixturecheck.kernel.measure import box_of, centre_of, volume_mm3
from fixturecheck.kernel.shapes import Solid, to_vector
from fixturecheck.physics.equilibrium import ContactPoint, Load, Rigid
from fixturecheck.physics.equilibrium_patch import patch_points
from fixturecheck.physics.hertz import (
    contact_modulus_mpa,
    face_stiffness_n_mm,
    line_stiffness_n_mm,
    point_contact,
)
from fixturecheck.result import ContactKind, Vector
from fixturecheck.setup.model import Setup
from fixturecheck.shop.weight import weight_n

Floats = NDArray[np.float64]

DIVISIONS = 6
"""Cells along all that a body touches, to begin with; what counts is loaded again in smaller ones."""
_LEAST_SPAN_MM = 1e-3
# What an edge or a corner is taken to be loaded with and rounded to for its stiffness; only the ratio of
# stiffnesses matters, and a full slide not even on that.
_LINE_N_MM, _EDGE_RADIUS_MM, _DEEP_MM, _POINT_N = 10.0, 1.0, 10.0, 10.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spot:
    """One contact patch between two bodies, as points, with its friction still to be chosen.

    Parameters
    ----------
    a, b : str
        Bodies; `b` empty for what stands still.
    faces : frozenset of FaceRef
        The two faces.
    normal : ndarray, shape (3,)
        Out of `a` into `b`.
    points_mm : ndarray, shape (n, 3)
    shares : ndarray, shape (n,)
        Of the patch's area, adding up to one.
    stiffness_n_mm : float
        Of the whole patch.
    patches : tuple of Patch
        What was cut up; empty for what is given by its points alone.
    cell_mm : float
        Largest side of a cell.
    """

    a: str
    b: str
    faces: frozenset[FaceRef]
    normal: Floats
    points_mm: Floats
    shares: Floats
    stiffness_n_mm: float
    label: str
    patches: tuple[Patch, ...] = ()
    cell_mm: float = math.inf

    def finer(self, ratio: float) -> Spot:
        """Return the same contact in cells so many times as small."""
        if not self.patches:
            return self
        cell_mm = self.cell_mm / ratio
        points_mm, shares = _cut_up(self.patches, cell_mm)
        return replace(self, points_mm=points_mm, shares=shares, cell_mm=cell_mm)

    @property
    def bodies(self) -> frozenset[str]:
        """The two bodies, also one that stands still."""
        return frozenset(face.body for face in self.faces)


def movers(setup: Setup, contacts: ContactMap) -> tuple[str, ...]:
    """Return the bodies that can move: parts, loose blocking, the jaw of a vise.

    Where blocking is not stated it is every fixture of one piece that only its weight, a magnet, a vise or a
    strap holds to something else. What stands on the table is taken as bolted to it. No pole is loose.
    """
    holding = setup.holding
    jaws = holding.jaws if holding else frozenset()
    if holding and holding.blocking is not None:
        loose = set(holding.blocking)
    else:
        pieces = [b.group for b in setup.bodies if b.group]
        loose = {
            name
            for name, footing in footings(setup, contacts).items()
            if footing.base in {Base.CARRIED, Base.CLAMPED}
            and pieces.count(setup.body(name).group or "") <= 1
        }
    loose = {n for n in loose if not setup.body(n).pole and not setup.body(n).poles}
    return tuple(b.name for b in setup.bodies if b.role == "part" or b.name in loose | jaws)


def rigid_bodies(
    setup: Setup, placed: Mapping[str, Solid], names: Iterable[str], guides: Mapping[str, Floats]
) -> tuple[Rigid, ...]:
    """Return the bodies that can move; a jaw slides along its guide only."""
    out = []
    for name in names:
        box = np.array(box_of(placed[name]))
        middle, size = 0.5 * (box[:3] + box[3:]), float((box[3:] - box[:3]).max()) / 2
        guide = to_vector(guides[name]) if name in guides else None
        out.append(Rigid(name=name, at_mm=to_vector(middle), size_mm=size, slides_along=guide))
    return tuple(out)


def weights(setup: Setup, placed: Mapping[str, Solid], names: Iterable[str]) -> tuple[Load, ...]:
    """Return the weight of each body at its centre of mass."""
    out = []
    for name in names:
        force = (0.0, 0.0, -weight_n(setup.body(name).material, volume_mm3(placed[name])))
        out.append(Load(body=name, force_n=force, at_mm=centre_of(placed[name]), label="weight"))
    return tuple(out)


def spots(contacts: ContactMap, moving: Sequence[str], *, divisions: int = DIVISIONS) -> tuple[Spot, ...]:
    """Return every patch that touches a body that can move; patches of one pair of faces are one spot.

    A name may stand for faces that look different ways, as both flanks of a V: those are spots of their own.

    Parameters
    ----------
    divisions : int
        Cells along all that a body touches, from end to end: what lies far from it is cut up as coarsely.
    """
    together: dict[tuple[str, str, Vector], list[Patch]] = {}
    for patch in contacts.patches:
        c = patch.contact
        if c.kind != ContactKind.NEAR and {c.a.body, c.b.body} & set(moving):
            looks = to_vector(round(n, 3) + 0.0 for n in c.normal)
            together.setdefault((c.a, c.b, looks), []).append(patch)
    spans = _spans_mm([p for patches in together.values() for p in patches], moving)
    return tuple(
        _spot(patches, moving, min(spans[n] for n in patches[0].bodies if n in spans) / divisions)
        for _, patches in sorted(together.items())
    )


def _spans_mm(patches: Sequence[Patch], moving: Sequence[str]) -> dict[str, float]:
    """Return how far apart the outermost places are at which each body that can move is touched."""
    outlines = [(p.bodies, p.outline_mm()) for p in patches]
    spans = {}
    for name in moving:
        mine = [points for bodies, points in outlines if name in bodies]
        if mine:
            spans[name] = max(float(np.ptp(np.vstack(mine), axis=0).max()), _LEAST_SPAN_MM)
    return spans


def _spot(patches: Sequence[Patch], moving: Sequence[str], cell_mm: float) -> Spot:
    first = patches[0].contact
    a, b = first.a.body, first.b.body
    normal = np.array(first.normal)
    if a not in moving:
        a, b, normal = b, a, -normal
    points_mm, shares = _cut_up(patches, cell_mm)
    return Spot(
        a=a,
        b=b if b in moving else "",
        faces=frozenset({first.a, first.b}),
        normal=normal / np.linalg.norm(normal),
        points_mm=points_mm,
        shares=shares,
        stiffness_n_mm=sum(_stiffness_n_mm(patch) for patch in patches),
        label=f"{first.a} on {first.b}",
        patches=tuple(patches),
        cell_mm=cell_mm,
    )


def _cut_up(patches: Sequence[Patch], cell_mm: float) -> tuple[Floats, Floats]:
    """Return points over patches and their shares: by area, else by length, else each patch the same."""
    points, shares = [], []
    for patch in patches:
        found, part = points_of(patch, cell_mm)
        points.append(found)
        shares.append((patch.contact.area_mm2 or patch.contact.length_mm or 1.0) * part)
    weight = np.concatenate(shares)
    return np.vstack(points), weight / weight.sum()


def _stiffness_n_mm(patch: Patch) -> float:
    c = patch.contact
    modulus = contact_modulus_mpa()
    if c.kind == ContactKind.AREA:
        return face_stiffness_n_mm(max(c.area_mm2, 1e-6), modulus)
    if c.kind == ContactKind.LINE:
        length = max(c.length_mm, 1e-3)
        return line_stiffness_n_mm(_LINE_N_MM * length, length, _EDGE_RADIUS_MM, _DEEP_MM)
    return point_contact(_POINT_N, _EDGE_RADIUS_MM, modulus).stiffness_n_mm


def contact_points(found: Sequence[Spot], mu: Callable[[frozenset[str]], float]) -> tuple[ContactPoint, ...]:
    """Return every spot's points.

    Parameters
    ----------
    mu : callable
        Friction between two bodies, by their names.
    """
    return tuple(
        point
        for spot in found
        for point in patch_points(
            a=spot.a,
            b=spot.b,
            normal=to_vector(spot.normal),
            points_mm=spot.points_mm,
            area_mm2=spot.shares,
            mu=mu(spot.bodies),
            stiffness_n_mm=spot.stiffness_n_mm,
            label=spot.label,
        )
    )


def pull_loads(
    pulls: Pulls | None, moving: Container[str], *, strength_share: float, error_share: float
) -> tuple[Load, ...]:
    """Return the magnet's pull as a load on every body that can move, at its centre, whatever it touches.

    Parameters
    ----------
    moving : container of str
        Bodies that can move.
    strength_share : float
        Between the weak end (0) and the strong end (1) of finish and material.
    error_share : float
        Between the low end (-1) and the high end (1) of the method's error.
    """
    loads = []
    for face in pulls.faces if pulls else ():
        pull_n, centre = face.at(strength_share, error_share)
        a, b = face.bodies
        for body, by, sign in ((a, b, 1.0), (b, a, -1.0)):
            if body in moving:
                force = to_vector(sign * pull_n * face.toward)
                label = f"pull of {by}"
                loads.append(Load(body=body, force_n=force, at_mm=to_vector(centre), label=label, by=by))
    return tuple(loads)
