"""Candidates, the places where two bodies might touch, and the scene of bodies that they are found in.

Features are read from each solid once, in its own frame; a query at a new pose is array arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from fixturecheck.arrays import Bools, Floats, Ints
from fixturecheck.compiled import compiled
from fixturecheck.contact.proximity.placed_features import PlacedFeatures, bodies_of
from fixturecheck.kernel.brep.features import Features
from fixturecheck.numeric import all_rows, some_rows


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """One row for each place where two bodies might touch.

    Parameters
    ----------
    gap_mm : ndarray, shape (n,)
        Distance along the normal; negative where they overlap.
    normal : ndarray, shape (n, 3)
        Unit normal out of body b into body a, machine's frame.
    point_a_mm, point_b_mm : ndarray, shape (n, 3)
        The two places, machine's frame.
    body_a, body_b, face_a, face_b : ndarray, shape (n,)
        Bodies and faces by index.
    """

    gap_mm: Floats
    normal: Floats
    point_a_mm: Floats
    point_b_mm: Floats
    body_a: Ints
    body_b: Ints
    face_a: Ints
    face_b: Ints

    def where(self, keep: Bools | Ints) -> Candidates:
        """Return the rows chosen."""
        return some_rows(self, keep)


def seen_from_a(gap: Floats, normal: Floats, place: Floats, names: Ints) -> Candidates:
    """Return rows from gaps (n,), normals and places on body a (n, 3), and bodies with faces (n, 4).

    Parameters
    ----------
    gap : ndarray, shape (n,)
        Distance along the normal, negative where they overlap, mm.
    normal : ndarray, shape (n, 3)
        Unit normal out of body b into body a.
    place : ndarray, shape (n, 3)
        Where it is on body a, mm.
    names : ndarray of int, shape (n, 4)
        Body a, its face, body b, its face.

    Returns
    -------
    Candidates
    """
    return Candidates(
        gap_mm=gap,
        normal=normal,
        point_a_mm=place,
        point_b_mm=place - gap[:, None] * normal,
        body_a=names[:, 0],
        face_a=names[:, 1],
        body_b=names[:, 2],
        face_b=names[:, 3],
    )


def joined(parts: Sequence[Candidates]) -> Candidates:
    """Return all rows of several sets.

    Parameters
    ----------
    parts : sequence of Candidates
        Any number of them; none at all give no rows.

    Returns
    -------
    Candidates
    """
    if parts:
        return all_rows(parts)
    return seen_from_a(np.zeros(0), np.zeros((0, 3)), np.zeros((0, 3)), np.zeros((0, 4), dtype=np.int64))


class Shapes:
    """The features of several bodies as arrays, and a box round each, in the bodies' own frames."""

    def __init__(self, features: Sequence[Features]) -> None:
        self.features = tuple(features)
        self.placed = PlacedFeatures(bodies_of(features))
        own = [_own_box(f) for f in features]
        self.box_middle = np.array([0.5 * (low + high) for low, high in own])
        self.box_half = np.array([0.5 * (high - low) for low, high in own])


class ProximityScene:
    """The features of several bodies, ready to be looked at in any pose.

    Parameters
    ----------
    features : sequence of Features or Shapes
        One for each body, or what was made of them before.
    loose : sequence of bool
        Which bodies move; two that do not are never looked at.
    """

    def __init__(self, features: Sequence[Features] | Shapes, loose: Sequence[bool]) -> None:
        shapes = features if isinstance(features, Shapes) else Shapes(features)
        self.placed, self.box_middle, self.box_half = shapes.placed, shapes.box_middle, shapes.box_half
        self.features = shapes.features
        self.loose = np.array(loose, dtype=bool)

    def boxes(self, rotation: Floats, origin: Floats) -> tuple[Floats, Floats]:
        """Return the corners of a box round each body in the machine's frame.

        Parameters
        ----------
        rotation, origin : ndarray, shape (n, 3, 3) and (n, 3)
            Poses of all bodies, the origins in mm.

        Returns
        -------
        tuple of ndarray, shape (n, 3)
            Least and greatest corners, mm.
        """
        return boxes_at(self.box_middle, self.box_half, rotation, origin)

    def pairs(self, low_mm: Floats, high_mm: Floats, reach_mm: float) -> Ints:
        """Return the pairs of bodies whose boxes come within reach, at least one of them loose.

        Parameters
        ----------
        low_mm, high_mm : ndarray, shape (n, 3)
            Least and greatest corners, as `boxes` returns them.
        reach_mm : float
            Greatest gap between boxes along an axis.

        Returns
        -------
        ndarray of int, shape (m, 2)
            The lower index first.
        """
        return near_boxes(low_mm, high_mm, self.loose, reach_mm)


@compiled
def boxes_at(
    middle_mm: Floats, half_mm: Floats, rotation: Floats, origin_mm: Floats
) -> tuple[Floats, Floats]:
    """Return corners of boxes round boxes (n, 3) of bodies' own frames, in the machine's.

    Parameters
    ----------
    middle_mm, half_mm : ndarray, shape (n, 3)
        Middles and half sides of boxes in the bodies' own frames.
    rotation, origin_mm : ndarray, shape (n, 3, 3) and (n, 3)
        Poses of the bodies.

    Returns
    -------
    tuple of ndarray, shape (n, 3)
        Least and greatest corners, mm.
    """
    low, high = np.empty_like(origin_mm), np.empty_like(origin_mm)
    for i in range(len(middle_mm)):
        for axis in range(3):
            centre, spread = 0.0, 0.0
            for k in range(3):
                centre += rotation[i, axis, k] * middle_mm[i, k]
                spread += abs(rotation[i, axis, k]) * half_mm[i, k]
            centre += origin_mm[i, axis]
            low[i, axis], high[i, axis] = centre - spread, centre + spread
    return low, high


@compiled
def near_boxes(low_mm: Floats, high_mm: Floats, loose: Bools, apart_mm: float) -> Ints:
    """Return the pairs (m, 2) of boxes that are no further apart along any axis, at least one of them loose.

    Boxes that are to share something have a distance below zero.

    Parameters
    ----------
    low_mm, high_mm : ndarray, shape (n, 3)
        Least and greatest corners.
    loose : ndarray of bool, shape (n,)
        Which boxes belong to bodies that move.
    apart_mm : float
        Greatest gap between boxes along an axis.

    Returns
    -------
    ndarray of int, shape (m, 2)
        The lower index first.
    """
    found = np.empty((len(low_mm), 2), dtype=np.int64)
    count = 0
    for i in range(len(low_mm)):
        for j in range(i + 1, len(low_mm)):
            if not (loose[i] or loose[j]):
                continue
            meet = True
            for axis in range(3):
                meet = (
                    meet
                    and low_mm[i, axis] <= high_mm[j, axis] + apart_mm
                    and low_mm[j, axis] <= high_mm[i, axis] + apart_mm
                )
            if not meet:
                continue
            if count == len(found):
                more = np.empty((2 * len(found), 2), dtype=np.int64)
                more[:count] = found
                found = more
            found[count, 0], found[count, 1] = i, j
            count += 1
    return found[:count].copy()


def _own_box(features: Features) -> tuple[Floats, Floats]:
    """Return a box round a body in its own frame, curved faces included."""
    corners = [features.points_mm]
    for one in features.swept:
        fat = max(one.radius_a_mm, one.radius_b_mm) + one.tube_mm
        if one.sign > 0:
            corners += [np.array([end - fat, end + fat]) for end in (one.a_mm, one.b_mm)]
    if features.smooth:  # between its points a free-form face may stand out of them
        corners.append(features.box_mm)
    every = np.concatenate(corners)
    return every.min(axis=0), every.max(axis=0)
