"""What each body is free to do while all others stay where they are, to first order.

Contacts push and do not pull. A motion that changes no gap goes both ways and keeps every contact; one that
opens some and closes none takes the body away. Where there is neither, the body is fixed.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.nesting.model import settling_model_of
from fixturecheck.nesting.outcome import LOOK_MM, freedoms_among
from fixturecheck.numeric import to_vector
from fixturecheck.result.shapes import Vector
from fixturecheck.result.touching import BodyFree
from fixturecheck.rigid.freedoms import opening_motion
from fixturecheck.rigid.motion import jacobian
from fixturecheck.setup.model import Setup

_SLACK_RAD = 1e-2
_STRAIGHT = 1e-6
"""A slide that closes no gap faster than this, in mm for each mm, closes none."""


def free_bodies(
    setup: Setup, called: Mapping[str, str], touched: Mapping[str, frozenset[str]], overlap: frozenset[str]
) -> tuple[BodyFree, ...]:
    """Return what each body is free to do.

    Parameters
    ----------
    called : mapping of str to str
        What the user calls each body.
    touched : mapping of str to set of str
        The bodies that each one touches.
    overlap : frozenset of str
        Bodies that overlap others: where those would stop them is not known.
    """
    model = settling_model_of(setup)
    poses, touch_mm = model.drawn, setup.tolerances.touch_mm
    every = range(len(model.bodies))
    around = find_candidates(model.scene(every), poses.rotation, poses.origin_mm, LOOK_MM, _SLACK_RAD)
    found = []
    for i in every:
        name = model.bodies[i].name
        free = BodyFree(body=name, called=called[name], touches=len(touched[name]))
        if name in overlap:
            found.append(_unknown(free, "it overlaps another body, and what overlaps stops nothing"))
            continue
        mine = (around.body_a == i) | (around.body_b == i)
        rows = around.where(mine & (np.abs(around.gap_mm) <= touch_mm))
        if touched[name] and not len(rows.gap_mm):
            found.append(_unknown(free, "its contacts have no form that is followed"))
            continue
        centre = poses.apply(i, model.features[i].centre_mm)
        slopes = jacobian(rows, np.array([i]), centre[None])
        leaves = _leaves(slopes)
        scaled = slopes.copy()
        scaled[:, 3:] /= model.features[i].size_mm
        found.append(
            BodyFree(
                body=name,
                called=called[name],
                touches=len(touched[name]),
                keeps=freedoms_among(model, poses, (rows, around.where(mine)), i),
                leaves=leaves,
                shut_in=bool(len(rows.gap_mm)) and not leaves and opening_motion(scaled) is None,
            )
        )
    return tuple(found)


def _unknown(free: BodyFree, why: str) -> BodyFree:
    return BodyFree(body=free.body, called=free.called, touches=free.touches, unknown=why)


def _leaves(slopes: Floats) -> tuple[Vector, ...]:
    """Return the directions, along an axis or a contact's normal, in which a body moves straight away.

    Parameters
    ----------
    slopes : ndarray, shape (n, 6)
        How each gap that is closed changes with shift and turn of the body.

    Returns
    -------
    tuple of Vector
        Those that open a contact and close none; only those that open all contacts where there are any.
    """
    normals = slopes[:, :3]
    if not len(normals):
        return ()
    found: list[Floats] = []
    for way in (*np.vstack((np.eye(3), -np.eye(3))), *_each_once(normals)):
        if _opens(normals, way) and not any(float(way @ one) > 1.0 - _STRAIGHT for one in found):
            found.append(way)
    middle = normals.sum(axis=0)
    size = float(np.linalg.norm(middle))
    if not found and size > _STRAIGHT * len(normals) and _opens(normals, middle / size):
        found.append(middle / size)
    # A direction along which everything opens says more than one that still slides along something.
    clear = [way for way in found if float((normals @ way).min()) > _STRAIGHT]
    return tuple(to_vector(way + 0.0) for way in (clear or found)[:_MOST_WAYS])


def _opens(normals: Floats, way: Floats) -> bool:
    """Tell whether a straight move opens some contact and closes none."""
    rates = normals @ way
    return bool(rates.min() >= -_STRAIGHT and rates.max() > _STRAIGHT)


_MOST_WAYS = 3
_MOST_NORMALS = 24


def _each_once(normals: Floats) -> Floats:
    """Return the distinct normals; none of a round face, whose every normal is another."""
    each = np.unique(np.round(normals, 6) + 0.0, axis=0)
    return each if len(each) <= _MOST_NORMALS else np.zeros((0, 3))
