"""Which bodies lie on a slope of the shop's equipment, and which angles bring one of their faces level."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fixturecheck.angles.incline import Incline, compound_settings_deg
from fixturecheck.arrays import Floats
from fixturecheck.checks.stage import Stage
from fixturecheck.kernel.place import matrix_of, rotation
from fixturecheck.numeric import to_vector
from fixturecheck.result.contact import ContactKind
from fixturecheck.setup.model import Body, together


def slopes_of(stage: Stage) -> Iterator[tuple[Body, frozenset[str]]]:
    """Yield each body that makes a slope, and the bodies that lie on it."""
    for body in stage.setup.bodies:
        if body.inclines:
            yield body, _carried_by(stage, body)


def hinges_of(slope: Body) -> Floats:
    """Return the hinges of a slope in the machine's frame, unit length, shape (n, 3), the lowest first."""
    turn = matrix_of(slope.at)[:3, :3]
    return np.array([turn @ np.asarray(incline.hinge) for incline in slope.inclines])


def levelling_deg(slope: Body, normal: Sequence[float]) -> tuple[float, float]:
    """Return the angles that bring a face on a slope level, degrees.

    Parameters
    ----------
    slope : Body
        A sine plate or angle block, as it stands.
    normal : sequence of float, shape (3,)
        The way the face looks where the slope stands now, in the machine's frame.

    Returns
    -------
    tuple of float
        Of the lower hinge, and of the upper; of one that the slope does not have, what would be needed of a
        hinge across that rises toward +X.

    Notes
    -----
    Closed form: the slope's own turns are undone, the last first, which gives the way the face looks while
    the plates lie flat; from there as `compound_settings_deg`.
    """
    flat = matrix_of(slope.at)[:3, :3].T @ np.asarray(normal, float)
    for incline in reversed(slope.inclines):
        flat = _turn(incline).T @ flat
    about_x, about_y = compound_settings_deg(to_vector(flat))
    if len(slope.inclines) == 1:
        return about_x, -about_y
    first, second = slope.inclines
    # With the lower plate flat, the upper hinge lies along Y one way or the other.
    return about_x, about_y * float((_turn(first).T @ np.asarray(second.hinge))[1])


def _turn(incline: Incline) -> Floats:
    return matrix_of(rotation(incline.hinge, incline.reached_deg))[:3, :3]


def _carried_by(stage: Stage, slope: Body) -> frozenset[str]:
    """Return the bodies that lie on a slope: what touches its faces, and what seats on any of those."""
    setup = stage.setup
    own = {*together(setup, slope.name)}
    found: set[str] = set()
    for patch in stage.contacts.patches:
        if patch.contact.kind == ContactKind.AREA and slope.name in patch.bodies:
            found |= {name for other in patch.bodies if other not in own for name in together(setup, other)}
    while True:
        more = {s.body for s in setup.seats if s.on in found or s.on == slope.name} - found - own
        if not more:
            return frozenset(found)
        found |= {name for body in more for name in together(setup, body)}
