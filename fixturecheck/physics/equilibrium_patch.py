"""How does a patch of contact become points: shares of its area and stiffness; how may it fit."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from fixturecheck.errors import SetupError
from fixturecheck.physics.equilibrium import ContactPoint, FloatArray, Holding, Vector

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
        message = f"patch {label!r}: {len(points)} points need as many areas, each above zero; got {area}"
        raise SetupError(message)
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


def uneven_fits(holding: Holding) -> tuple[FloatArray, FloatArray]:
    """Return factors on the stiffness of each contact point for faces that do not fit evenly.

    Ground faces are crowned or hollow by a micrometre or two, and parts stand tighter against the chuck than
    against each other, or the other way round. Two sets: crowned faces with stiff neighbours, and hollow
    ones with soft neighbours. They depend on nothing but the contacts, so the answer stays the same when the
    set-up is moved or listed in another order.

    Parameters
    ----------
    holding : Holding
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
