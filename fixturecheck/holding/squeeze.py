"""How the push of a jaw goes on through what stands before it, to the other jaw: on which faces, how much."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from graphlib import TopologicalSorter

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from fixturecheck.contact.patch import ContactMap, Patch
from fixturecheck.faceref import FaceRef
from fixturecheck.holding.jaws import BEARS, Grip
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.measure import is_flat
from fixturecheck.kernel.shapes import Face, Shape, Solid
from fixturecheck.result.contact import ContactKind
from fixturecheck.setup.model import Body, Setup
from fixturecheck.setup.records import BodyRole

_SQUARE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlatPress:
    """One flat contact of a part that takes the push, or passes it on.

    Parameters
    ----------
    patch : Patch
        Where the two touch.
    share : float
        Of the push of the jaw, how much goes through it.
    front : bool
        Whether it takes the push, on the side of the jaw.
    """

    patch: Patch
    share: float
    front: bool


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SqueezedPart:
    """A part that stands in the way of a jaw's push, pressed by the jaw or by what it presses.

    Parameters
    ----------
    body : Body
    solid : Solid
        Where it stands.
    share : float
        Of the push of the jaw, how much goes through it.
    presses : tuple of FlatPress
        Its flat contacts on either side; those of what stands inside it count none of the push.
    touching : tuple of Patch
        Every contact that it has.
    """

    body: Body
    solid: Solid
    share: float
    presses: tuple[FlatPress, ...]
    touching: tuple[Patch, ...]

    def flats(self) -> Iterator[tuple[FaceRef, Face, FlatPress]]:
        """Yield its flat faces that are pressed, where they stand."""
        for press in self.presses:
            own = press.patch.sides_from(self.body.name)[0]
            for face, name in zip(faces_of(self.solid), self.body.face_names(), strict=True):
                if name in own.faces and is_flat(face):
                    yield FaceRef.of(self.body.name, name), face, press


def bearing_from_behind(touching: Iterable[Patch], body: str, out: Sequence[float]) -> tuple[Shape, ...]:
    """Return where things bear on a body from the other side than a face of it, as the flanks of a V do too.

    Parameters
    ----------
    touching : iterable of Patch
        Its contacts.
    body : str
    out : sequence of float, shape (3,)
        The way that the face looks.

    Returns
    -------
    tuple of Shape
    """
    return tuple(
        p.shape.geometry
        for p in touching
        if p.contact.kind != ContactKind.NEAR and float(np.array(out) @ p.outward(body)) <= -BEARS
    )


def squeezed_parts(
    setup: Setup, placed: Mapping[str, Solid], contacts: ContactMap, grip: Grip
) -> Iterator[SqueezedPart]:
    """Yield the parts that the push of a jaw goes through, the nearest first.

    The push is shared by area, first among what the jaw presses, then among what each of those presses on.
    What a part stands on both sides of, as of a block in its slot, passes nothing on.

    Parameters
    ----------
    setup : Setup
        The set-up.
    placed : mapping of str to Solid
        Every body where it stands.
    contacts : ContactMap
        What touches.
    grip : Grip
        What the jaw presses.

    Yields
    ------
    SqueezedPart
        In the machine's frame.
    """
    passes = [(*_giver_and_taker(p, grip), p) for p in contacts.patches if _takes_push(p, grip)]
    passes = [one for one in passes if one[0] != grip.jaw or one[2] in grip.patches]
    shares, through = _flow(passes, grip)
    for name, share in shares.items():
        body = setup.body(name)
        if body.role != BodyRole.PART:
            continue
        yield SqueezedPart(
            body=body,
            solid=placed[name],
            share=share,
            presses=tuple(
                FlatPress(patch=p, share=through.get(id(p), 0.0), front=taker == name)
                for giver, taker, p in passes
                if name in (giver, taker)
            ),
            touching=tuple(p for p in contacts.patches if name in p.bodies),
        )


def _takes_push(patch: Patch, grip: Grip) -> bool:
    return (
        patch.contact.kind == ContactKind.AREA
        and abs(float(np.array(patch.contact.normal) @ grip.push)) > 1.0 - _SQUARE
    )


def _giver_and_taker(patch: Patch, grip: Grip) -> tuple[str, str]:
    a, b = patch.bodies
    return (a, b) if float(np.array(patch.outward(a)) @ grip.push) > 0.0 else (b, a)


def _flow(passes: list[tuple[str, str, Patch]], grip: Grip) -> tuple[dict[str, float], dict[int, float]]:
    """Return which share of the push goes through each body in its way, and through each contact."""
    names = list(dict.fromkeys([grip.jaw, *grip.spreads, *(n for one in passes for n in one[:2])]))
    number = {name: i for i, name in enumerate(names)}
    ends = np.array([[number[giver], number[taker]] for giver, taker, _ in passes], dtype=int).reshape(-1, 2)
    links = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(names), len(names)))
    _, knot = connected_components(links, directed=True, connection="strong")
    # Within a knot, a slotted part and what fills its slot, none passes the push on to another.
    onward = [one for one in passes if knot[number[one[0]]] != knot[number[one[1]]]]
    order = TopologicalSorter({name: [g for g, t, _ in onward if t == name] for name in names}).static_order()
    whole = sum(s.area_mm2 for s in grip.spreads.values())
    shares = {name: spread.area_mm2 / whole for name, spread in grip.spreads.items()}
    through: dict[int, float] = {}
    for name in order:
        own = [(taker, p) for giver, taker, p in onward if giver == name]
        given = 1.0 if name == grip.jaw else shares.get(name, 0.0)
        area = sum(p.contact.area_mm2 for _, p in own)
        for taker, patch in own:
            share = given * patch.contact.area_mm2 / area
            through[id(patch)] = share
            if name != grip.jaw and share > 0.0:
                shares[taker] = shares.get(taker, 0.0) + share
    return {n: s for n, s in shares.items() if s > 0.0}, through
