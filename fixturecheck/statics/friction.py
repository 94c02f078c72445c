"""Whether contacts hold a load without any motion, by pushing alone or with Coulomb friction."""

from __future__ import annotations

import clarabel
import numpy as np
from scipy import sparse

from fixturecheck.arrays import Floats, Ints
from fixturecheck.rigid.motion import CandidateRows, cross_products, jacobian
from fixturecheck.statics.contact_step import outermost

HOLDS = 1e-7
_LEAST_SHARE = 1e-6
"""Of what all bodies bear: a load below that is rounding."""


def friction_holds(
    rows: CandidateRows,
    bodies: Ints,
    centres_mm: Floats,
    load: Floats,
    size_mm: Floats,
    *,
    mu: float,
    closure_mm: float,
) -> bool:
    """Tell whether forces within the friction cones of closed contacts balance the load.

    Parameters
    ----------
    rows : CandidateRows
        Places where bodies might touch.
    bodies : ndarray of int, shape (n,)
        The loose bodies.
    centres_mm : ndarray, shape (n, 3)
        Points that moments are taken about.
    load : ndarray, shape (n, 6)
        Force and moment over size of each loose body about its centre.
    size_mm : ndarray, shape (n,)
        Each body's length.
    mu : float
        Coulomb coefficient; zero asks for balance by pushing alone.
    closure_mm : float
        Contacts with a larger gap carry nothing.

    Returns
    -------
    bool
        True where what is left unbalanced is nothing but rounding.

    References
    ----------
    Closed form: Coulomb's law and the balance of forces and moments, any text on statics.
    """
    return unbalanced(rows, bodies, centres_mm, load, size_mm, mu=mu, closure_mm=closure_mm) <= HOLDS


def unbalanced(
    rows: CandidateRows,
    bodies: Ints,
    centres_mm: Floats,
    load: Floats,
    size_mm: Floats,
    *,
    mu: float,
    closure_mm: float,
) -> float:
    """Return the least part of the load that the contacts cannot balance.

    The rest on each body counts by that body's own load, so that a light one beside a heavy one is seen; a
    body that bears next to nothing counts by a share of what all bear. It is a second-order cone programme
    over the forces at the contacts. Between two flat faces only the outermost contacts are asked: forces at
    the others are means of forces there.

    Parameters
    ----------
    rows : CandidateRows
        Places where bodies might touch.
    bodies : ndarray of int, shape (n,)
        The loose bodies.
    centres_mm : ndarray, shape (n, 3)
        Points that moments are taken about.
    load : ndarray, shape (n, 6)
        Force and moment over size of each loose body about its centre.
    size_mm : ndarray, shape (n,)
        Each body's length.
    mu : float
        Coulomb coefficient.
    closure_mm : float
        Contacts with a larger gap carry nothing.

    Returns
    -------
    float
        What is left over the load, of each body, as the root of the sum of squares; 0 where all balance.

    References
    ----------
    Closed form: Coulomb's law and the balance of forces and moments, any text on statics.
    """
    closed = outermost(rows, np.flatnonzero(rows.gap_mm <= closure_mm))
    total = float(np.linalg.norm(load))
    if total == 0.0:
        return 0.0
    if len(closed) == 0:
        return 1.0
    pushes = _columns(rows, closed, rows.normal, bodies, centres_mm, size_mm)
    first, second = _tangents(rows.normal[closed])
    sides = [_sideways(rows, closed, t, bodies, centres_mm, size_mm) for t in (first, second)]
    forces = np.stack((pushes, *sides), axis=-1) if mu > 0 else pushes[:, :, None]
    flat = forces.reshape(forces.shape[0], -1)
    own = np.repeat(np.maximum(np.linalg.norm(load, axis=1), _LEAST_SHARE * total), 6)
    return _least_rest(flat / own[:, None], load.ravel() / own, len(closed), mu)


def _columns(
    rows: CandidateRows, closed: Ints, direction: Floats, bodies: Ints, centres: Floats, size: Floats
) -> Floats:
    """Return what a unit force along `direction` at each contact does to the bodies, shape (6n, m)."""
    scale = np.ones((len(bodies), 6))
    scale[:, 3:] = 1.0 / size[:, None]

    class _Some:
        gap_mm = rows.gap_mm[closed]
        normal = direction[closed] if len(direction) == len(rows.gap_mm) else direction
        point_a_mm = rows.point_a_mm[closed]
        point_b_mm = rows.point_b_mm[closed]
        body_a = rows.body_a[closed]
        body_b = rows.body_b[closed]
        face_a = rows.face_a[closed]
        face_b = rows.face_b[closed]

    return (jacobian(_Some(), bodies, centres) * scale.ravel()).T


_sideways = _columns


def _tangents(normal: Floats) -> tuple[Floats, Floats]:
    """Return two unit directions square to each normal."""
    helper = np.where(np.abs(normal[:, :1]) < 0.7, [[1.0, 0.0, 0.0]], [[0.0, 1.0, 0.0]])
    first = cross_products(normal, helper)
    first /= np.linalg.norm(first, axis=1)[:, None]
    return first, cross_products(normal, first)


def _least_rest(forces: Floats, load: Floats, count: int, mu: float) -> float:
    """Minimise |load + forces x| with each contact's x in its friction cone."""
    rows, columns = forces.shape
    variables = columns + 1
    objective = np.zeros(variables)
    objective[-1] = 1.0
    # Cone 1: (t, load + forces x); then (mu n, t1, t2) of each contact, or n >= 0 without friction.
    top = np.zeros((1 + rows, variables))
    top[0, -1] = -1.0
    top[1:, :columns] = -forces
    offset = np.concatenate(([0.0], load))
    cones = [clarabel.SecondOrderConeT(1 + rows)]
    weights = np.ones(columns)
    if mu > 0:
        weights[::3] = mu
        cones += [clarabel.SecondOrderConeT(3)] * count
    else:
        cones += [clarabel.NonnegativeConeT(count)]
    lower = sparse.hstack((sparse.diags(-weights), sparse.csc_matrix((columns, 1))))
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_abs = settings.tol_gap_rel = settings.tol_feas = 1e-10
    solver = clarabel.DefaultSolver(
        sparse.csc_matrix((variables, variables)),
        objective,
        sparse.vstack((sparse.csc_matrix(top), lower), format="csc"),
        np.concatenate((offset, np.zeros(columns))),
        cones,
        settings,
    )
    return max(0.0, float(solver.solve().x[-1]))
