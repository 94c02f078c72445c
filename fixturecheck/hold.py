"""How hard the magnet of a set-up holds each body: from what is stated to pulls, with their range."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.contact.broad import near_bodies
from fixturecheck.contact.standing import Standing, stand
from fixturecheck.errors import NotComputedError, SetupError
from fixturecheck.kernel.build import box
from fixturecheck.kernel.femesh import TetMesher
from fixturecheck.kernel.shapes import Placed, faces_of
from fixturecheck.magnet import Fineness, Iron, MagnetModel, Pole, magnet_model
from fixturecheck.physics.bh import BHLaw, fit_law
from fixturecheck.physics.flux import FluxSolution
from fixturecheck.physics.seat_gap import seat_gap_um, strength_for_pull
from fixturecheck.setup.model import Body, Setup
from fixturecheck.shop.tables import finish, material

_BACK = "base"
_RATING_THICK_MM = 40.0
# Bounds where no curve of a hardened steel was found: a hardenable stainless below, soft steel above.
_UNKNOWN_LOW, _UNKNOWN_HIGH = "stainless_455", "steel_1018"


@dataclass(frozen=True, slots=True, kw_only=True)
class Magnet:
    """What is stated of a magnetic chuck or block.

    Parameters
    ----------
    rated_n_cm2 : float
        Rated pull on a thick, lapped piece of soft steel, per area of its footprint.
    trifle_share, off_share : float
        Magnetomotive force left when the magnet is turned on a trifle, and when it is off.
    source_gap_mm : float
        Air gap as conductive as the magnet, per area of a pole's back; with the rating it is an
        effective pair, not the magnet's own construction.
    mmf_a : float
        Magnetomotive force behind each pole where no rating applies (V-blocks).
    """

    rated_n_cm2: float = 80.0
    trifle_share: float = 0.3
    off_share: float = 0.03
    source_gap_mm: float = 0.016
    mmf_a: float = 50.0

    def share(self, state: str) -> float:
        """Return the magnetomotive force in a state, `full`, `trifle` or `off`, over that of `full`.

        Raises
        ------
        SetupError
            There is no such state.
        """
        shares = {"full": 1.0, "trifle": self.trifle_share, "off": self.off_share}
        if state not in shares:
            message = f"magnet state must be full, trifle or off; got {state!r}"
            raise SetupError(message)
        return shares[state]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MagnetHold:
    """Pull on every body at the two ends of what is not known better.

    Parameters
    ----------
    low, high : FluxSolution
        Rough end of the finishes and weak end of the irons, and the other way round.
    model_error_share : float
        What the method itself may be off, to either side: more where lines and edges carry.
    said : tuple of str
        What the answer rests on, in sentences.
    """

    low: FluxSolution
    high: FluxSolution
    model_error_share: float
    said: tuple[str, ...]

    def pull_n(self, body: str) -> tuple[float, float]:
        """Return the size of the force on a body, low and high, the method's own error included."""
        sizes = [float(np.linalg.norm(s.body(body).force_n)) for s in (self.low, self.high)]
        return min(sizes) * (1 - self.model_error_share), max(sizes) * (1 + self.model_error_share)


def magnet_hold(
    setup: Setup,
    *,
    magnet: Magnet | None = None,
    state: str = "full",
    fineness: Fineness | None = None,
    mesher: TetMesher | None = None,
) -> MagnetHold:
    """Solve for the pull of the magnet on every iron body of a set-up.

    Parameters
    ----------
    setup : Setup
    magnet : Magnet, optional
    state : str
        `full`, `trifle` or `off`.
    fineness : Fineness, optional
    mesher : TetMesher, optional
        Keeps meshes between calls.

    Raises
    ------
    NotComputedError
        No pole has anything of iron near it, or a finish is not stated.
    SetupError
        No body is a pole.
    """
    magnet, mesher = magnet or Magnet(), mesher or TetMesher()
    fineness = fineness or Fineness()
    iron = [b for b in setup.bodies if material(b.material).magnetic]
    poles = {b.name for b in iron if b.pole}
    if not poles:
        message = f"{setup.name}: no body is a magnet's pole, so there is no magnetic hold to compute"
        raise SetupError(message)
    near = _near(iron, fineness)
    said: list[str] = []
    model_low = _model(near, magnet, fineness, mesher, end=0)
    model_high = _model(near, magnet, fineness, mesher, end=1)
    strength = _rating(near, magnet, fineness, mesher, said) * magnet.share(state)
    said += _left_out(model_low, near)
    narrow = any(len(r.fine_points_mm) for r in model_low.regions)
    return MagnetHold(
        low=model_low.solve(strength),
        high=model_high.solve(strength),
        model_error_share=0.30 if narrow else 0.10,
        said=tuple(said),
    )


def _near(iron: Sequence[Body], fineness: Fineness) -> list[Body]:
    """Keep what the flux reaches: parts at poles, what touches them, and the poles next to those."""
    bodies = stand([b.placed() for b in iron])
    wide = list(near_bodies(bodies, fineness.leak_mm))
    close = list(near_bodies(bodies, fineness.band_mm))
    kept = {i for i, b in enumerate(iron) if not b.pole}
    kept = {i for i in kept if _chain(i, close, iron)}
    kept |= {j for pair in close for j in pair if iron[j].pole and kept & set(pair)}
    neighbours = {j for pair in wide for j in pair if iron[j].pole and kept & set(pair)}
    kept |= {j for j in neighbours if any(j in p and iron[p[0]].pole and iron[p[1]].pole for p in wide)}
    if not any(not iron[i].pole for i in kept):
        message = "nothing of iron lies within reach of the magnet's poles"
        raise NotComputedError(message)
    return [iron[i] for i in sorted(kept)]


def _chain(start: int, close: Sequence[tuple[int, int]], iron: Sequence[Body]) -> bool:
    """Whether a chain of near bodies leads from one to a pole."""
    seen, todo = {start}, [start]
    while todo:
        at = todo.pop()
        if iron[at].pole:
            return True
        more = {j for pair in close if at in pair for j in pair} - seen
        seen |= more
        todo += sorted(more)
    return False


def _model(
    bodies: Sequence[Body], magnet: Magnet, fineness: Fineness, mesher: TetMesher, *, end: int
) -> MagnetModel:
    """The model at the weak (0) or the strong (1) end of what is not known better."""
    irons = [Iron(placed=b.placed(), law=_law(b.material, end), pole=_pole(b, magnet)) for b in bodies]
    return magnet_model(irons, seat_gap_um=_gaps(bodies, end), fineness=fineness, mesher=mesher)


def _law(name: str, end: int) -> BHLaw:
    points = material(name).bh or material((_UNKNOWN_LOW, _UNKNOWN_HIGH)[end]).bh
    return fit_law(name, points)


def _pole(body: Body, magnet: Magnet) -> Pole | None:
    if not body.pole:
        return None
    back = tuple(body.faces.get(_BACK, ()))
    if not back:
        message = f"pole {body.name!r} has no face {_BACK!r}: name the face that the magnet lies against"
        raise SetupError(message)
    sign = 1.0 if body.pole == "n" else -1.0
    return Pole(mmf_a=sign * magnet.mmf_a, source_gap_mm=magnet.source_gap_mm, back_faces=back)


def _gaps(bodies: Sequence[Body], end: int) -> Callable[[str, str], float]:
    by_name = {b.name: b for b in bodies}

    def rz(label: str) -> float:
        name, face = label.split(".", 1)
        stated = by_name[name].finish
        what = stated.get(face, stated.get("*"))
        if what is None:
            message = f"{label}: no finish is stated, so the gap under it is not known"
            raise NotComputedError(message)
        return finish(what).rz_um[1 - end]

    def gap(a: str, b: str) -> float:
        # Without a measured flatness a finish is taken to be flat to its own Rz: common practice, no source.
        return seat_gap_um(rz_a_um=rz(a), rz_b_um=rz(b), flatness_a_um=rz(a), flatness_b_um=rz(b))

    return gap


def _rating(
    bodies: Sequence[Body], magnet: Magnet, fineness: Fineness, mesher: TetMesher, said: list[str]
) -> float:
    """Strength at which two neighbouring poles of a flat chuck pull the rating piece as rated."""
    flat = [b for b in bodies if b.pole and "top" in b.faces]
    if len(flat) < 2:
        said.append("Pull is not set against a rating: only a flat chuck's poles can carry a rating piece.")
        return 1.0
    standing = stand([b.placed() for b in flat])
    one, other = _facing_poles(flat, standing)
    low = np.minimum(one.low, other.low)
    high = np.maximum(one.high, other.high)
    middle, span = (low + high) / 2, (high - low)[:2]
    across = int(np.argmax(np.abs((one.low + one.high - other.low - other.high)[:2])))
    half = np.full(2, span[across] / 2)
    corner = middle[:2] - half, middle[:2] + half
    piece = box((*corner[0], float(high[2])), (*corner[1], float(high[2]) + _RATING_THICK_MM))
    law = _law("steel_1018", 1)
    pair = [b for b in flat if b.name in (one.name, other.name)]
    irons = [Iron(placed=b.placed(), law=_law(b.material, 1), pole=_pole(b, magnet)) for b in pair]
    names = tuple(f"face_{i}" for i in range(len(faces_of(piece))))
    irons.insert(0, Iron(placed=Placed(name="rating piece", solid=piece, face_names=names), law=law))
    lapped = finish("lapped").rz_um[0] + finish("ground").rz_um[0]
    # The rating sets one number to a few parts in a thousand; a coarse mesh is enough for that.
    rough = replace(fineness, size_mm=5.0)
    model = magnet_model(irons, seat_gap_um=lambda _a, _b: lapped, fineness=rough, mesher=mesher)
    area_cm2 = float(np.prod(2 * half)) / 100
    said.append(
        f"Pull is relative to the chuck's rated pull of {magnet.rated_n_cm2:g} N/cm2, met by a lapped piece "
        f"{2 * half[0]:.3g} mm square and {_RATING_THICK_MM:g} mm thick on two of its own poles."
    )
    return strength_for_pull(
        lambda s: float(np.linalg.norm(model.solve(s).body("rating piece").force_n)),
        wanted_n=magnet.rated_n_cm2 * area_cm2,
    )


def _facing_poles(flat: Sequence[Body], standing: Sequence[Standing]) -> tuple[Standing, Standing]:
    """Return two poles of opposite kind that stand nearest each other."""
    pairs = [
        (float(np.linalg.norm(a.low - b.low)), i, j)
        for i, a in enumerate(standing)
        for j, b in enumerate(standing)
        if i < j and flat[i].pole != flat[j].pole
    ]
    if not pairs:
        message = "the poles within reach are all of one kind: the flux has no way back"
        raise NotComputedError(message)
    _, i, j = min(pairs)
    return standing[i], standing[j]


def _left_out(model: MagnetModel, bodies: Sequence[Body]) -> list[str]:
    said = [
        f"No flux is counted between {a} and {b}: their shapes have no rule yet." for a, b in model.left_out
    ]
    said += [f"{n} could only be meshed with elements of {s:.2g} mm." for n, s in model.coarse.items()]
    unknown = sorted({b.material for b in bodies if not material(b.material).bh})
    said += [
        f"No B-H curve of {m} was found: its iron is bounded by {_UNKNOWN_LOW} and {_UNKNOWN_HIGH}."
        for m in unknown
    ]
    return said
