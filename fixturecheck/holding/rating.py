"""What the magnet is worth: the source behind its poles, from the pull of a rating piece and over a shim."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fixturecheck.errors import NotComputedError
from fixturecheck.holding.iron import Ferrous, as_iron, curves, felt
from fixturecheck.kernel.build import box, prism
from fixturecheck.kernel.clip import face_frame
from fixturecheck.kernel.femesh import TetMesher
from fixturecheck.kernel.placing import location_of
from fixturecheck.kernel.shapes import Placed, Solid, box_of, faces_of, to_vector
from fixturecheck.magnet import Fineness, Iron, MagnetModel, Pole, magnet_model
from fixturecheck.physics.flux import FluxSolution
from fixturecheck.physics.seat_gap import strength_for_pull
from fixturecheck.setup.model import Body, Setup
from fixturecheck.units import Writing

START_MMF_A = 50.0
START_SOURCE_GAP_MM = 0.016
# Finish of the rating piece and of a ground pole under it: half the sum of their middle Rz.
RATING_GAP_UM = 2.0
_THICK_MM, _LONG_MM = 40.0, 40.0
# Magnets that are tried, from one that drives its flux through any gap to one that soon gives way.
_SOURCE_GAPS_MM = (0.002, 0.25)
_MOST_TRIES = 12
_SHIM_SHARE = 0.02
# The piece is thick, and two per cent is what finer elements would change.
_COARSE = Fineness(size_mm=3.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """What stands behind every pole.

    Parameters
    ----------
    mmf_a : float
        Magnetomotive force of the full magnet.
    gap_mm : float
        Air gap of the same conductance as the magnet, per area of a pole's back.
    piece : str
        The rating piece in words.
    """

    mmf_a: float
    gap_mm: float
    piece: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Piece:
    """A rating piece where it lies on the poles."""

    placed: Placed
    area_mm2: float
    says: str


def find_source(setup: Setup, mesher: TetMesher) -> Source:
    """Find the source that gives the rated pull, and the pull over a shim where that is stated.

    The piece lies in the middle of the magnet, wherever the parts lie.

    Raises
    ------
    NotComputedError
        No source gives that pull, or the poles are neither a flat chuck nor a V.
    """
    holding = setup.holding
    if holding is None:
        message = "no holding is stated"
        raise NotComputedError(message)
    piece = _piece(setup)
    law = curves(setup, "steel_1018", "rating piece")[0]
    found = np.array(box_of(piece.placed.solid.moved(piece.placed.at)))
    near = felt([(found[:3], found[3:])], setup.poles())
    poles = [p for b in setup.poles() if (p := as_iron(setup, b, near)) is not None]
    irons = [Iron(placed=piece.placed, law=law)]
    irons += [Iron(placed=p.placed, law=p.strong, pole=pole_of(p, _START)) for p in poles]
    model = magnet_model(irons, seat_gap_um=lambda _a, _b: RATING_GAP_UM, fineness=_COARSE, mesher=mesher)
    rated_n = holding.rated_n_cm2 * piece.area_mm2 / 100.0
    if holding.shim_mm is None or holding.shim_pull_n_cm2 is None:
        strength = _strength(model, rated_n, piece, setup.write)
        return Source(mmf_a=strength * START_MMF_A, gap_mm=START_SOURCE_GAP_MM, piece=piece.says)
    shim_n = holding.shim_pull_n_cm2 * piece.area_mm2 / 100.0
    gap, strength = _two_points(model, piece, rated_n, (holding.shim_mm, shim_n), setup.write)
    return Source(mmf_a=strength * START_MMF_A, gap_mm=gap, piece=piece.says)


_START = Source(mmf_a=START_MMF_A, gap_mm=START_SOURCE_GAP_MM, piece="")


def pole_of(body: Ferrous, source: Source) -> Pole | None:
    """Return what drives a body; None for one that is no pole."""
    if body.pole is None:
        return None
    sign = 1.0 if body.pole == "n" else -1.0
    return Pole(mmf_a=sign * source.mmf_a, source_gap_mm=source.gap_mm, back_faces=body.back_faces)


def _pull_n(model: MagnetModel, piece: _Piece) -> Callable[[float], float]:
    """Return the pull on the piece at a strength: what its patches carry toward the poles."""
    name = piece.placed.name
    last: FluxSolution | None = None

    def pull(strength: float) -> float:
        nonlocal last
        last = solved = model.solve(strength, near=last)
        return float(sum(p.pull_n for p in solved.patches if name in (p.a, p.b)))

    return pull


def _strength(
    model: MagnetModel, wanted_n: float, piece: _Piece, write: Writing, *, start: float = 1.0
) -> float:
    """Find the strength by a power law through two tries, and by bisection where that does not close in."""
    pull = _pull_n(model, piece)
    tried = [(start, pull(start))]
    exponent = 1.5
    for _ in range(5):
        strength, found = tried[-1]
        if abs(found - wanted_n) <= 5e-3 * wanted_n:
            return strength
        if len(tried) > 1:
            (s0, f0), (s1, f1) = tried[-2:]
            exponent = max(0.2, float(np.log(f1 / f0) / np.log(s1 / s0)))
        following = strength * (wanted_n / found) ** (1.0 / exponent)
        if not 0.01 < following < 30.0:
            break
        tried.append((following, pull(following)))
    return strength_for_pull(pull, wanted_n=wanted_n, write=write)


def _two_points(
    model: MagnetModel, piece: _Piece, rated_n: float, shim: tuple[float, float], write: Writing
) -> tuple[float, float]:
    """Find source gap and strength from the pull on the poles and over a shim.

    The more the source gives way, the less a shim takes of the pull, so one gap behind the poles fits.
    """
    shim_mm, shim_n = shim
    wanted = shim_n / rated_n

    def over_shim(log_gap: float, start: float) -> tuple[float, float]:
        """Return how much more than wanted is left of the pull over the shim, and the strength."""
        behind = replace(
            model, sources=tuple(replace(s, gap_mm=float(np.exp(log_gap))) for s in model.sources)
        )
        shimmed = tuple(replace(g, gap_mm=g.gap_mm + shim_mm) if g.counts else g for g in behind.gaps)
        strength = _strength(behind, rated_n, piece, write, start=start)
        return _pull_n(replace(behind, gaps=shimmed), piece)(strength) / rated_n - wanted, strength

    low, high = np.log(_SOURCE_GAPS_MM)
    below, strength = over_shim(low, 1.0)
    above = np.inf if below > 0.0 else over_shim(high, 3.0)[0]
    if below > 0.0 or above < 0.0:
        least = f"at least {below + wanted:.0%}" if below > 0.0 else f"at most {above + wanted:.0%}"
        message = (
            f"a pull of {wanted:.0%} of the rated one over {write.length(shim_mm, 'g')} fits no magnet: "
            f"over it {least} would be left; check shim_mm and shim_pull_n_cm2"
        )
        raise NotComputedError(message)
    for _ in range(_MOST_TRIES):
        # Between a secant and a bisection, so that neither end stays for long.
        share = 0.5 * (0.5 + below / (below - above))
        middle = low + share * (high - low)
        found, strength = over_shim(middle, strength)
        if abs(found) <= _SHIM_SHARE * wanted:
            return float(np.exp(middle)), strength
        if found < 0.0:
            low, below = middle, found
        else:
            high, above = middle, found
    message = f"no magnet was found that pulls as stated on the poles and over {write.length(shim_mm, 'g')}"
    raise NotComputedError(message)


def _piece(setup: Setup) -> _Piece:
    """Return a thick piece of mild steel on the poles that the parts lie on."""
    seats: dict[tuple[str, str], np.ndarray] = {}
    for pole in setup.poles():
        wanted = {s.on_face for s in setup.seats if s.on in (pole.name, pole.group)}
        for face, name in zip(faces_of(pole.solid.moved(pole.at)), pole.face_names(), strict=True):
            centre, normal, flat = face_frame(face)
            if name in wanted and flat:
                seats[pole.name, name] = np.vstack([centre, normal])
    if not seats:
        message = (
            "no seat lies on a flat face of a pole, so the rated pull has no place to act; state a seat of a "
            "part on the chuck or the V-block"
        )
        raise NotComputedError(message)
    normals = np.array([s[1] for s in seats.values()])
    if np.allclose(normals, normals[0], atol=1e-6) and abs(normals[0][2]) > 0.999:
        seated = [b for b in setup.poles() if b.name in {name for name, _ in seats}]
        return _flat_piece(seated, next(iter(seats.values()))[0][2], setup.write)
    if len(seats) == 2:
        return _nested_piece(list(seats.values()), setup.write)
    message = "the seats lie neither on a flat chuck nor on the two flanks of a V-block"
    raise NotComputedError(message)


def _flat_piece(poles: Sequence[Body], top_z_mm: float, write: Writing) -> _Piece:
    """Return a block over a north and a south pole and half a spacer on either side."""
    boxes = {p.name: np.array(box_of(p.solid.moved(p.at))) for p in poles}
    middle = {n: 0.5 * (b[:3] + b[3:]) for n, b in boxes.items()}
    near = np.mean(list(middle.values()), axis=0)
    order = sorted(poles, key=lambda p: float(np.linalg.norm(middle[p.name] - near)))
    first = order[0]
    others = [p for p in order if p.pole != first.pole]
    if not others:
        message = "the parts lie on poles of one kind only: the flux has no return path"
        raise NotComputedError(message)
    second = min(others, key=lambda p: float(np.linalg.norm(middle[p.name] - middle[first.name])))
    a, b = middle[first.name], middle[second.name]
    along = int(np.argmax(np.abs(b - a)[:2]))
    across = 1 - along
    pitch = float(abs(b - a)[along])
    long = min(
        _LONG_MM,
        *(float(boxes[p.name][across + 3] - boxes[p.name][across]) for p in (first, second)),
    )
    centre = 0.5 * (a + b)
    low, high = np.zeros(3), np.zeros(3)
    low[along], high[along] = centre[along] - pitch, centre[along] + pitch
    low[across], high[across] = centre[across] - long / 2, centre[across] + long / 2
    low[2], high[2] = top_z_mm, top_z_mm + _THICK_MM
    solid = box(to_vector(low), to_vector(high))
    return _Piece(
        placed=_named(solid),
        area_mm2=float((high - low)[0] * (high - low)[1]),
        says=f"{write.number(2 * pitch, 'mm', '.0f')} by {write.number(long, 'mm', '.0f')} by "
        f"{write.length(_THICK_MM, '.0f')} over two poles",
    )


def _nested_piece(seats: Sequence[np.ndarray], write: Writing) -> _Piece:
    """Return a bar nested on both flanks of a V, two thirds as wide as the flanks."""
    (c1, n1), (c2, n2) = seats
    axis = np.cross(n1, n2)
    axis /= np.linalg.norm(axis)
    up = (n1 + n2) / np.linalg.norm(n1 + n2)
    side = np.cross(up, axis)
    # Where both planes meet, half-way along the seats.
    system = np.array([n1, n2, axis])
    origin = np.linalg.solve(system, [n1 @ c1, n2 @ c2, axis @ (c1 + c2) / 2])
    flanks = []
    for centre, normal in seats:
        run = np.cross(axis, normal)
        run = run if run @ up > 0 else -run
        flanks.append((float(run @ side), float(run @ up), float(run @ (centre - origin))))
    wide = 4.0 / 3.0 * min(f[2] for f in flanks)
    (y1, z1, _), (y2, z2, _) = flanks
    outline = [
        (0.0, 0.0),
        (wide * y1, wide * z1),
        (wide * (y1 + y2), wide * (z1 + z2)),
        (wide * y2, wide * z2),
    ]
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(outline, outline[1:] + outline[:1], strict=True))
    half = _LONG_MM / 2
    solid = prism(outline if area > 0 else outline[::-1], from_x_mm=-half, to_x_mm=half)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2], matrix[:3, 3] = axis, side, up, origin
    return _Piece(
        placed=_named(solid.moved(location_of(matrix))),
        area_mm2=2.0 * wide * _LONG_MM,
        says=f"a bar {write.length(wide, '.0f')} square and {write.length(_LONG_MM, '.0f')} long, nested",
    )


def _named(solid: Solid) -> Placed:
    names = tuple(f"face_{i + 1}" for i in range(len(faces_of(solid))))
    return Placed(name="rating piece", solid=solid, face_names=names)
