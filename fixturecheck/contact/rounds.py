"""Curved faces of several bodies as arrays: hoops that stand on things, spines with a radius, and hollows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixturecheck.kernel.feature_edges import Rim
from fixturecheck.kernel.feature_rounds import Round
from fixturecheck.kernel.features import Features

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hoops:
    """Circles swept by a ball: edges of cylinders (no ball), tori, and balls (no circle), in bodies' frames.

    `leave` (n, 2, 2) holds the radial and axial parts of the directions into the two faces of a sharp circle
    and zeros where the surface itself is round; `face` (n, 2) the faces.
    """

    centre: Floats
    axis: Floats
    zero: Floats
    radius: Floats
    skin: Floats
    turn: Floats
    tilt: Floats
    leave: Floats
    face: Ints
    body: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spines:
    """Segments (or points) with a radius: cylinders and balls from outside, in bodies' frames."""

    a: Floats
    b: Floats
    axis: Floats
    zero: Floats
    radius: Floats
    turn: Floats
    tilt: Floats
    is_ball: Mask
    face: Ints
    body: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Hollows:
    """Cylinders and cones from inside: axis from `a` with radius to `b` with radius, in bodies' frames."""

    a: Floats
    b: Floats
    axis: Floats
    zero: Floats
    radius_a: Floats
    radius_b: Floats
    turn: Floats
    face: Ints
    body: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Balls:
    """Balls round features, in bodies' frames, in the order of bodies; `which` is each one's own number."""

    centre: Floats
    radius: Floats
    body: Ints
    which: Ints
    start: Ints


def balls_of(centre: Floats, radius: Floats, body: Ints, bodies: int) -> Balls:
    """Return balls sorted by body."""
    order = np.argsort(body, kind="stable")
    return Balls(
        centre=centre[order],
        radius=radius[order],
        body=body[order],
        which=order,
        start=np.searchsorted(body[order], np.arange(bodies + 1)),
    )


class Rounds:
    """All curved features of several bodies."""

    def __init__(self, features: Sequence[Features]) -> None:
        rims = [(i, one) for i, f in enumerate(features) for one in f.rims]
        rounds = [(i, one) for i, f in enumerate(features) for one in f.rounds]
        self.hoops = _hoops(rims, [(i, r) for i, r in rounds if r.kind in ("ring", "ball")])
        self.spines = _spines([(i, r) for i, r in rounds if r.kind in ("rod", "ball")])
        self.hollows = _hollows([(i, r) for i, r in rounds if r.kind in ("bore", "funnel")])
        self.any = bool(rounds)

    def balls(self, bodies: int) -> dict[str, Balls]:
        """Return balls round hoops, spines and hollows."""
        hoops, spines, hollows = self.hoops, self.spines, self.hollows
        wide = np.maximum(hollows.radius_a, hollows.radius_b)
        return {
            "hoop": balls_of(hoops.centre, hoops.radius + hoops.skin, hoops.body, bodies),
            "spine": balls_of(
                0.5 * (spines.a + spines.b),
                0.5 * np.linalg.norm(spines.b - spines.a, axis=1) + spines.radius,
                spines.body,
                bodies,
            ),
            "hollow": balls_of(
                0.5 * (hollows.a + hollows.b),
                0.5 * np.linalg.norm(hollows.b - hollows.a, axis=1) + wide,
                hollows.body,
                bodies,
            ),
        }


def _hoops(rims: list[tuple[int, Rim]], skins: list[tuple[int, Round]]) -> Hoops:
    """Gather circular edges, tori and balls."""
    every: list[Rim | Round] = [*(r for _, r in rims), *(r for _, r in skins)]
    count, sharp = len(every), len(rims)
    leave = np.zeros((count, 2, 2))
    if sharp:
        leave[:sharp] = [r.leave for _, r in rims]
    whole = (-np.inf, np.inf)
    return Hoops(
        centre=_rows([*(r.centre_mm for _, r in rims), *(r.a_mm for _, r in skins)]),
        axis=_rows([r.axis for r in every]),
        zero=_rows([r.zero for r in every]),
        radius=np.array([*(r.radius_mm for _, r in rims), *(r.radius_a_mm for _, r in skins)], dtype=float),
        skin=np.array([*(0.0 for _ in rims), *(r.skin_mm for _, r in skins)], dtype=float),
        turn=np.array([r.turn for r in every], dtype=float).reshape(-1, 2),
        tilt=np.array([*(whole for _ in rims), *(r.tilt for _, r in skins)], dtype=float).reshape(-1, 2),
        leave=leave,
        face=np.array(
            [*(r.faces for _, r in rims), *((r.face, r.face) for _, r in skins)], dtype=np.int64
        ).reshape(-1, 2),
        body=np.array([i for i, _ in [*rims, *skins]], dtype=np.int64),
    )


def _spines(rounds: list[tuple[int, Round]]) -> Spines:
    """Gather cylinders and balls."""
    ball = np.array([r.kind == "ball" for _, r in rounds], dtype=bool)
    return Spines(
        a=_rows([r.a_mm for _, r in rounds]),
        b=_rows([r.b_mm for _, r in rounds]),
        axis=_rows([r.axis for _, r in rounds]),
        zero=_rows([r.zero for _, r in rounds]),
        radius=np.array([r.radius_a_mm + r.skin_mm for _, r in rounds], dtype=float),
        turn=np.array([r.turn for _, r in rounds], dtype=float).reshape(-1, 2),
        tilt=np.array([r.tilt for _, r in rounds], dtype=float).reshape(-1, 2),
        is_ball=ball,
        face=np.array([r.face for _, r in rounds], dtype=np.int64),
        body=np.array([i for i, _ in rounds], dtype=np.int64),
    )


def _hollows(rounds: list[tuple[int, Round]]) -> Hollows:
    """Gather bores and funnels."""
    return Hollows(
        a=_rows([r.a_mm for _, r in rounds]),
        b=_rows([r.b_mm for _, r in rounds]),
        axis=_rows([r.axis for _, r in rounds]),
        zero=_rows([r.zero for _, r in rounds]),
        radius_a=np.array([r.radius_a_mm for _, r in rounds], dtype=float),
        radius_b=np.array([r.radius_b_mm for _, r in rounds], dtype=float),
        turn=np.array([r.turn for _, r in rounds], dtype=float).reshape(-1, 2),
        face=np.array([r.face for _, r in rounds], dtype=np.int64),
        body=np.array([i for i, _ in rounds], dtype=np.int64),
    )


def _rows(vectors: list[Floats]) -> Floats:
    """Return vectors as rows."""
    return np.array(vectors, dtype=float).reshape(-1, 3)


def covers(direction: Floats, axis: Floats, zero: Floats, turn: Floats, slack: float) -> Mask:
    """Tell which directions lie in the part of the turn that a surface covers; the axis always does."""
    side = np.stack(
        (
            axis[:, 1] * zero[:, 2] - axis[:, 2] * zero[:, 1],
            axis[:, 2] * zero[:, 0] - axis[:, 0] * zero[:, 2],
            axis[:, 0] * zero[:, 1] - axis[:, 1] * zero[:, 0],
        ),
        axis=1,
    )
    x, y = np.einsum("ni,ni->n", direction, zero), np.einsum("ni,ni->n", direction, side)
    on_axis = x * x + y * y < 1e-12
    return np.asarray(within(np.arctan2(y, x), turn, slack + 1e-6) | on_axis)


def within(angle: Floats, span: Floats, slack: float) -> Mask:
    """Tell which angles lie in spans of first and last, modulo whole turns."""
    finite = np.isfinite(span).all(axis=1)
    first, last = np.where(finite, span[:, 0], 0.0), np.where(finite, span[:, 1], 2 * np.pi)
    past = np.mod(angle - first + slack, 2 * np.pi)
    return np.asarray((last - first > 2 * np.pi - 1e-6) | (past <= last - first + 2 * slack))
