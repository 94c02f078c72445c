"""Bodies, contact points and loads as the linear maps of equilibrium, and a patch as points.

A body moves by a small twist. A contact point resists approach with a normal stiffness, never pulls, and
resists sliding up to friction times its normal force. Where a magnet pulls across a contact, the pull is a
load on both bodies and not a property of the contact, so a contact carries only what a load presses on it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from fixturecheck.arrays import Floats, Ints
from fixturecheck.errors import SetupError
from fixturecheck.result.shapes import Vector
from fixturecheck.statics.contact_step import outermost_of

# Tangential over normal stiffness of an elastic contact, 2(1-nu)/(2-nu) with nu = 0.3 (Mindlin 1949,
# from memory). Sliding starts earlier or later with it; a full slide does not depend on it.
SHEAR_STIFFNESS_RATIO = 0.82


@dataclass(frozen=True, slots=True, kw_only=True)
class Rigid:
    """A body that can move: a part, a blocking block, a vise's moving jaw.

    Parameters
    ----------
    name : str
        Unique in the problem.
    at_mm : Vector
        Reference point for its twist, best its centre.
    size_mm : float
        Half its largest dimension; scales rotation against translation.
    slides_along : Vector or None
        Direction of the guide of a body that can only slide, such as a moving jaw; None for a free body.
    rolls_about : Vector or None
        Unit axis of the round faces that alone carry it; None where something flat does.
    """

    name: str
    at_mm: Vector
    size_mm: float = 20.0
    slides_along: Vector | None = None
    rolls_about: Vector | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactPoint:
    """One point of contact that carries a share of a patch.

    Parameters
    ----------
    a, b : str
        The two bodies; `b` empty for what stands still (chuck, V-block, fixed jaw).
    at_mm : Vector
        Where it is.
    normal : Vector
        Direction out of `a` into `b`; normalised here.
    mu : float
        Coefficient of friction.
    stiffness_n_mm : float
        Normal stiffness; only its ratio to that of other points matters to the factor.
    pull_n : float
        Magnet pull across the contact, at this point, drawing `a` and `b` together.
    label : str
        What a person calls it.
    """

    a: str
    at_mm: Vector
    normal: Vector
    mu: float
    b: str = ""
    stiffness_n_mm: float = 1e5
    pull_n: float = 0.0
    label: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """A force and moment on one body; a load between two bodies is two of these, each `by` the other."""

    body: str
    force_n: Vector
    at_mm: Vector
    moment_nmm: Vector = (0.0, 0.0, 0.0)
    label: str = ""
    by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EquilibriumProblem:
    """A set-up as numbers: `held` loads act always (weight, clamps), `cutting` loads are scaled up."""

    bodies: tuple[Rigid, ...]
    contacts: tuple[ContactPoint, ...]
    held: tuple[Load, ...]
    cutting: tuple[Load, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Equations:
    """The holding written out; every freedom is a length in mm, every generalised force is in N.

    Parameters
    ----------
    approach : ndarray, shape (n, 3, m)
        For each contact point: approach along the normal and two slips, from the m freedoms.
    freedom : ndarray of int, shape (n, k)
        The freedoms that each point answers to, -1 after the last.
    parts : ndarray, shape (n, 3, k)
        The columns of `approach` at those freedoms.
    outer : ndarray of int
        Points that can pass on what all carry: the corners of the hull of each flat face of one friction.
    mu : ndarray, shape (n,)
        Friction.
    normal_n_mm, shear_n_mm : ndarray, shape (n,)
        Stiffnesses.
    held_n, cutting_n : ndarray, shape (m,)
        Generalised loads; magnet pulls are in `held_n`.
    twists : ndarray, shape (bodies, 6, m)
        Velocity of the reference point and rotation (rad) of each body, from the freedoms.
    """

    approach: Floats
    freedom: Ints
    parts: Floats
    outer: Ints
    mu: Floats
    normal_n_mm: Floats
    shear_n_mm: Floats
    held_n: Floats
    cutting_n: Floats
    twists: Floats


def write_equations(holding: EquilibriumProblem) -> Equations:
    """Return the equations of a holding.

    Parameters
    ----------
    holding : EquilibriumProblem
        Bodies, contact points and loads.

    Returns
    -------
    Equations
        The same as linear maps.

    Raises
    ------
    SetupError
        A body is unknown or named twice, a number is not finite or has the wrong sign, or there is no
        cutting load to hold against.
    """
    _check(holding)
    rows = {body.name: i for i, body in enumerate(holding.bodies)}
    twists = _twists(holding.bodies)
    origin = np.array([b.at_mm for b in holding.bodies], dtype=float)
    at = np.array([c.at_mm for c in holding.contacts], dtype=float).reshape(-1, 3)
    frames = contact_frames(np.array([c.normal for c in holding.contacts], dtype=float).reshape(-1, 3))
    mu = np.array([c.mu for c in holding.contacts], dtype=float)
    approach = np.zeros((len(holding.contacts), 3, twists.shape[2]))
    for sign, side in ((1.0, [c.a for c in holding.contacts]), (-1.0, [c.b for c in holding.contacts])):
        for name, row in rows.items():
            mine = np.array([s == name for s in side], dtype=bool)
            if mine.any():
                jacobian = _point_motion(at[mine] - origin[row]) @ twists[row]
                approach[mine] += sign * frames[mine] @ jacobian
    sides = np.array([[rows[c.a], rows.get(c.b, -1)] for c in holding.contacts], dtype=np.int64).reshape(
        -1, 2
    )
    freedom = _freedoms(sides, twists)
    pulls = np.array([c.pull_n for c in holding.contacts], dtype=float)
    stiffness = np.array([c.stiffness_n_mm for c in holding.contacts], dtype=float)
    return Equations(
        approach=approach,
        freedom=freedom,
        parts=np.take_along_axis(approach, np.maximum(freedom, 0)[:, None, :], axis=2),
        outer=_outer(sides, at, frames[:, 0], mu),
        mu=mu,
        normal_n_mm=stiffness,
        shear_n_mm=SHEAR_STIFFNESS_RATIO * stiffness,
        held_n=_generalised(holding.held, rows, origin, twists) + pulls @ approach[:, 0, :],
        cutting_n=_generalised(holding.cutting, rows, origin, twists),
        twists=twists,
    )


def cutting_loads(holding: EquilibriumProblem, cuts: Iterable[Sequence[Load]]) -> list[Floats]:
    """Return several cutting loads on the same bodies as forces on the freedoms.

    Parameters
    ----------
    holding : EquilibriumProblem
        The bodies; its own cutting load is not looked at.
    cuts : iterable of sequence of Load
        Each a cutting load.

    Returns
    -------
    list of ndarray, shape (m,)
        What `Equations.cutting_n` would be with each, N.

    Raises
    ------
    SetupError
        A load acts on no body, its numbers make no sense, or it comes to nothing.
    """
    names = [b.name for b in holding.bodies]
    rows = {name: i for i, name in enumerate(names)}
    twists = _twists(holding.bodies)
    origin = np.array([b.at_mm for b in holding.bodies], dtype=float)
    found = []
    for cut in cuts:
        _check_cutting(cut, names)
        found.append(_generalised(cut, rows, origin, twists))
    return found


def _freedoms(sides: Ints, twists: Floats) -> Ints:
    """Return the freedoms of the bodies (n, 2) at each contact point, -1 where there are no more."""
    moves = np.any(twists != 0.0, axis=1)
    most = int(moves.sum(axis=1).max())
    of_body = np.full((len(moves) + 1, most), -1, dtype=np.int64)
    for row, mine in enumerate(moves):
        of_body[row, : int(mine.sum())] = np.flatnonzero(mine)
    # The last row stands for what stands still.
    both = of_body[sides].reshape(len(sides), 2 * most)
    return np.take_along_axis(both, np.argsort(both < 0, axis=1, kind="stable"), axis=1)


def _outer(sides: Ints, at_mm: Floats, normals: Floats, mu: Floats) -> Ints:
    """Return the outermost points of each flat face between two bodies, with one friction.

    A force at a point between others is the same as shares of it at those, and each share lies in the same
    friction cone: whatever forces all points can carry, these can.
    """
    if not len(mu):
        return np.arange(0)
    level_mm = np.einsum("ij,ij->i", normals, at_mm)
    keys = [*sides.T, *np.round(normals * 1e6).T, np.round(level_mm * 1e6), np.round(mu * 1e9)]
    order = np.lexsort(keys)
    changes = np.arange(len(order)) == 0
    for key in keys:
        changes[1:] |= np.diff(key[order]) != 0
    starts = np.append(np.flatnonzero(changes), len(order))
    return np.sort(order[outermost_of(starts, at_mm[order], normals[order], level_mm[order])])


def contact_frames(normals: Floats) -> Floats:
    """Return a normal and two tangents for each normal.

    Parameters
    ----------
    normals : ndarray, shape (n, 3)
        Directions of any length above zero.

    Returns
    -------
    ndarray, shape (n, 3, 3)
        Orthonormal rows: normal, tangent, tangent.
    """
    unit = normals / np.linalg.norm(normals, axis=1, keepdims=True)
    helper = np.where(np.abs(unit[:, :1]) < 0.7, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
    first = np.cross(unit, helper)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    return np.stack([unit, first, np.cross(unit, first)], axis=1)


def _twists(bodies: tuple[Rigid, ...]) -> Floats:
    """Map the freedoms to a twist for each body; rotations are scaled to lengths by the body's size."""
    columns = [1 if body.slides_along is not None else 6 for body in bodies]
    twists = np.zeros((len(bodies), 6, sum(columns)))
    start = 0
    for row, (body, count) in enumerate(zip(bodies, columns, strict=True)):
        if body.slides_along is None:
            twists[row, :3, start : start + 3] = np.eye(3)
            twists[row, 3:, start + 3 : start + 6] = np.eye(3) / body.size_mm
        else:
            guide = np.array(body.slides_along)
            twists[row, :3, start] = guide / np.linalg.norm(guide)
        start += count
    return twists


def _point_motion(arms: Floats) -> Floats:
    """Return the maps from a twist to the motion of points at these arms, shape (n, 3, 6)."""
    motion = np.zeros((len(arms), 3, 6))
    motion[:, :, :3] = np.eye(3)
    x, y, z = arms.T
    motion[:, 0, 4], motion[:, 0, 5] = z, -y
    motion[:, 1, 3], motion[:, 1, 5] = -z, x
    motion[:, 2, 3], motion[:, 2, 4] = y, -x
    return motion


def _generalised(loads: Iterable[Load], rows: dict[str, int], origin: Floats, twists: Floats) -> Floats:
    """Sum loads into the force that works on each freedom."""
    total = np.zeros(twists.shape[2])
    for load in loads:
        row = rows[load.body]
        force = np.array(load.force_n)
        moment = np.array(load.moment_nmm) + np.cross(np.array(load.at_mm) - origin[row], force)
        total += np.concatenate([force, moment]) @ twists[row]
    return total


def _check(holding: EquilibriumProblem) -> None:
    """Refuse what cannot be computed with, naming the culprit."""
    names = [body.name for body in holding.bodies]
    if not names:
        raise SetupError("no body can move: name at least one part")
    if len(set(names)) != len(names) or "" in names:
        raise SetupError(f"bodies {names}: every body needs a name of its own")
    for body in holding.bodies:
        _check_body(body)
    if not _make_sense(holding.contacts, {*names}):
        for contact in holding.contacts:
            _check_contact(contact, names)
    _check_loads(holding.held, names)
    _check_cutting(holding.cutting, names)


def _check_loads(loads: Iterable[Load], names: list[str]) -> None:
    """Refuse loads on what is no body, or whose numbers make no sense."""
    for load in loads:
        if load.body not in names:
            raise SetupError(
                f"load {load.label!r} acts on {load.body!r}, which is none of {', '.join(names)}"
            )
        _finite(f"load {load.label!r} on {load.body}", *load.force_n, *load.at_mm, *load.moment_nmm)


def _check_cutting(loads: Sequence[Load], names: list[str]) -> None:
    """Refuse cutting loads as `_check_loads` does, and those that come to nothing."""
    _check_loads(loads, names)
    if not any(any(load.force_n) or any(load.moment_nmm) for load in loads):
        raise SetupError(
            "the cutting load is zero: there is nothing to hold against; state a cut with depth and speed"
        )


def _check_body(body: Rigid) -> None:
    """Refuse a body whose numbers make no sense."""
    _finite(f"body {body.name}", *body.at_mm, body.size_mm, *(body.slides_along or ()))
    if body.size_mm <= 0.0:
        raise SetupError(f"body {body.name}: size_mm {body.size_mm} must be above zero")
    if body.slides_along is not None and not any(body.slides_along):
        raise SetupError(f"body {body.name}: slides_along has no direction")


def _make_sense(contacts: Sequence[ContactPoint], names: set[str]) -> bool:
    """Tell whether all contacts make sense at once; `_check_contact` says which one does not, and why."""
    if any(c.a not in names or c.a == c.b or (c.b and c.b not in names) for c in contacts):
        return False
    normals = np.array([c.normal for c in contacts], dtype=float).reshape(-1, 3)
    least = np.array([(c.mu, c.pull_n, c.stiffness_n_mm) for c in contacts], dtype=float).reshape(-1, 3)
    known = all(np.isfinite(v).all() for v in (normals, least, np.array([c.at_mm for c in contacts])))
    return bool(known and (least >= 0.0).all() and (least[:, 2] > 0.0).all() and normals.any(axis=1).all())


def _check_contact(contact: ContactPoint, names: list[str]) -> None:
    """Refuse a contact point whose numbers make no sense."""
    where = f"contact {contact.label!r} of {contact.a} at {contact.at_mm}"
    if contact.a not in names or (contact.b and contact.b not in names) or contact.a == contact.b:
        raise SetupError(
            f"{where}: {contact.a!r} and {contact.b!r} must be two of {', '.join(names)}; `b` may be empty"
        )
    _finite(where, *contact.at_mm, *contact.normal, contact.mu, contact.stiffness_n_mm, contact.pull_n)
    if contact.mu < 0.0 or contact.stiffness_n_mm <= 0.0 or contact.pull_n < 0.0:
        raise SetupError(
            f"{where}: friction {contact.mu} and pull {contact.pull_n} N must not be negative, "
            f"stiffness {contact.stiffness_n_mm} N/mm must be above zero"
        )
    if not any(contact.normal):
        raise SetupError(f"{where}: the normal has no direction")


def _finite(what: str, *values: float) -> None:
    """Refuse numbers that are not."""
    if not all(math.isfinite(v) for v in values):
        raise SetupError(f"{what}: {values} holds a number that is not finite")


# How much stiffer or softer than stated a contact is taken to be where a face does not fit evenly: common
# practice, no source.
UNEVEN = 3.0


def patch_points(
    *,
    a: str,
    b: str,
    normal: Vector,
    points_mm: npt.ArrayLike,
    area_mm2: npt.ArrayLike,
    mu: float,
    stiffness_n_mm: float,
    label: str = "",
) -> tuple[ContactPoint, ...]:
    """Return the contact points that stand for a patch.

    Parameters
    ----------
    a, b : str
        The two bodies; `b` empty for what stands still.
    normal : Vector
        Direction out of `a` into `b`.
    points_mm : array_like, shape (n, 3)
        Points over the patch; for tipping its corners must be among them.
    area_mm2 : array_like, shape (n,)
        Area (or any weight) that each stands for.
    mu : float
        Friction.
    stiffness_n_mm : float
        Normal stiffness of the whole patch, shared by area.
    label : str
        What a person calls the patch.

    Returns
    -------
    tuple of ContactPoint
        One for each point.

    Raises
    ------
    SetupError
        Points and areas do not match, or an area is not above zero.
    """
    points = np.asarray(points_mm, dtype=float).reshape(-1, 3)
    area = np.asarray(area_mm2, dtype=float).reshape(-1)
    if len(points) != len(area) or len(points) == 0 or not np.all(area > 0.0):
        raise SetupError(
            f"patch {label!r}: {len(points)} points need as many areas, each above zero; got {area}"
        )
    share = area / area.sum()
    return tuple(
        ContactPoint(
            a=a,
            b=b,
            at_mm=(float(x), float(y), float(z)),
            normal=normal,
            mu=mu,
            stiffness_n_mm=stiffness_n_mm * float(part),
            label=label,
        )
        for (x, y, z), part in zip(points, share, strict=True)
    )


def uneven_fits(holding: EquilibriumProblem) -> tuple[Floats, Floats]:
    """Return factors on the stiffness of each contact point for faces that do not fit evenly.

    Ground faces are crowned or hollow by a micrometre or two, and parts stand tighter against the chuck than
    against each other, or the other way round. Two sets: crowned faces with stiff neighbours, and hollow
    ones with soft neighbours. They depend on nothing but the contacts, so the answer stays the same when the
    set-up is moved or listed in another order.

    Parameters
    ----------
    holding : EquilibriumProblem
        The set-up.

    Returns
    -------
    tuple of ndarray, shape (n,)
        Two sets of factors, at most `UNEVEN` either way for faces and as much for neighbours.
    """
    contacts = holding.contacts
    at = np.array([c.at_mm for c in contacts], dtype=float).reshape(-1, 3)
    patches: dict[tuple[object, ...], list[int]] = {}
    for i, c in enumerate(contacts):
        patches.setdefault((c.a, c.b, c.label, *(round(n, 6) for n in c.normal)), []).append(i)
    outward = np.zeros(len(contacts))
    for members in patches.values():
        reach = np.linalg.norm(at[members] - at[members].mean(axis=0), axis=1)
        outward[members] = 2.0 * reach / max(float(reach.max()), 1e-12) - 1.0
    neighbours = np.array([1.0 if c.b else 0.0 for c in contacts])
    return UNEVEN ** (neighbours - outward), UNEVEN ** (outward - neighbours)
