"""What holds the parts as stated: the magnet, rated or measured, clamps, friction, and the least factor."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from fixturecheck.errors import Problem, SetupError, about
from fixturecheck.fields import HIDDEN, allowed, recorded
from fixturecheck.names import nearest, one_of
from fixturecheck.result.hold import ClampKind, MagnetState
from fixturecheck.result.shapes import Vector
from fixturecheck.setup.records import BodyRole
from fixturecheck.shop import tables

if TYPE_CHECKING:
    from fixturecheck.setup.model import Setup


@dataclass(frozen=True, slots=True, kw_only=True)
class CalibratedChuck:
    """A chuck file: every magnet that fits what was measured, by its ends.

    Parameters
    ----------
    name : str
        Which chuck it is.
    poles : int
        How many poles the measured chuck has.
    pole_pitch_mm : float
        From the middle of one pole to the next.
    pole_size_mm : tuple of float
        Width, length and height of one of its poles.
    pole_material : str
        What its poles are of.
    piece_finish : str
        Finish of the pieces that it was measured with.
    source_gap_mm : tuple of float
        Air gap of the same conductance as the magnet behind a pole, per area of the pole's back: of the
        stiffest and of the softest magnet that fits.
    source_mmf_low_a, source_mmf_high_a : tuple of float
        Least and greatest magnetomotive force that fits, behind either of these gaps.
    seat_gap_um : tuple of float
        Gap between such a piece and the poles, with the magnets that pull most and those that pull least.
    path : str
        The file.
    """

    name: str
    poles: int = field(metadata=allowed(2, 10000))
    pole_pitch_mm: float = field(metadata=allowed(0.1, 1000.0))
    pole_size_mm: tuple[float, ...] = field(metadata=allowed(0.05, 2000.0, items=3))
    pole_material: str
    piece_finish: str
    source_gap_mm: tuple[float, ...] = field(metadata=allowed(0.0001, 5.0, items=2))
    source_mmf_low_a: tuple[float, ...] = field(metadata=allowed(0.1, 1e6, items=2))
    source_mmf_high_a: tuple[float, ...] = field(metadata=allowed(0.1, 1e6, items=2))
    seat_gap_um: tuple[float, ...] = field(metadata=allowed(0.01, 1000.0, items=2))
    path: str = field(default="", compare=False, metadata=HIDDEN)

    def __post_init__(self) -> None:
        """Refuse what no calibration writes.

        Raises
        ------
        SetupError
            A pair is not a pair or runs backwards, a size is missing, or finish or material are unknown.
        """
        if len(self.pole_size_mm) != 3:
            raise SetupError(
                f"pole_size_mm holds width, length and height of a pole; got {list(self.pole_size_mm)}"
            )
        pairs = {
            "source_gap_mm": self.source_gap_mm,
            "seat_gap_um": self.seat_gap_um,
            "source_mmf_low_a": self.source_mmf_low_a,
            "source_mmf_high_a": self.source_mmf_high_a,
        }
        for name, pair in pairs.items():
            if len(pair) != 2:
                raise SetupError(f"{name} holds two numbers; got {list(pair)}")
        lows = (self.source_gap_mm[0], self.seat_gap_um[0], *self.source_mmf_low_a)
        highs = (self.source_gap_mm[1], self.seat_gap_um[1], *self.source_mmf_high_a)
        if any(low > high for low, high in zip(lows, highs, strict=True)):
            raise SetupError("a least value is above its greatest; calibrate the chuck again")
        tables.finish(self.piece_finish)
        tables.material(self.pole_material)


class Thread(StrEnum):
    """State of a screw's thread, a row of the table of nut factors."""

    DRY = "dry"
    OILED = "oiled"
    ANTI_SEIZE = "anti_seize"


class MillWay(StrEnum):
    """How the cutter stands to what it cuts; `any` tries all three."""

    ANY = "any"
    CLIMB = "climb"
    CONVENTIONAL = "conventional"
    CENTRED = "centred"


FRICTIONS = ("magnet", "ground_steel", "oily_steel", "cast_iron_on_steel", "coolant_film")
ABRASIVES = ("alumina", "alumina_sharp", "alumina_dull")
CUTS_AS = ("soft_steel", "c45", "alloy_steel", "hard_steel")
"""Rows of the tables of friction, grinding and milling."""

MOST_HELIX_DEG = 70.0
ASSUMED_PULL_N_CM2 = 80.0
"""Low end of what permanent-magnet chucks are sold with: common practice, no source."""
SOURCE_GAP_PITCHES = (0.00064, 0.12)
"""Gap that a magnet has behind its poles in distances between poles, the stiffest and the softest: 0.016 and
3 mm at 25 mm. With the stiffest a finish costs what the trade says; the softest is a thick magnet no wider
than its pole. Common practice, no source."""


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Clamp:
    """One clamp: a force with a place and a direction.

    Parameters
    ----------
    name : str
        What it is called.
    kind : str
        `vise` (a jaw pressed square to its face), `strap` (straight down over a heel as high as the part) or
        `toe` (inward and down from the side).
    body : str
        The body that it presses: the moving jaw of a vise, else a part, or a fixture that it holds down.
    face : str or None
        Face of the jaw that presses the part; a vise needs it.
    at_mm : Vector or None
        Where it presses, in the machine's frame; a strap and a toe need it.
    inward : Vector or None
        Level direction in which a toe pushes.
    down_deg : float
        How far a toe's push points down.
    force_n, torque_nm : float or None
        Force on the part (of a strap: in its screw), or torque on the screw: one of the two.
    screw_mm : float
        Diameter of the screw.
    thread : str
        `dry`, `oiled` or `anti_seize`.
    screw_to_heel_mm, screw_to_part_mm : float
        Arms of a strap.
    spread_share : float
        How well a stated force is known, either way: common practice, no source.
    """

    name: str
    kind: str = field(metadata=allowed(words=ClampKind))
    body: str
    face: str | None = None
    at_mm: Vector | None = field(default=None, metadata=allowed(-10000.0, 10000.0, items=3))
    inward: Vector | None = field(default=None, metadata=allowed(-1e6, 1e6, items=3))
    down_deg: float = field(default=0.0, metadata=allowed(0.0, 89.0, matters="which way a toe pushes"))
    force_n: float | None = field(default=None, metadata=allowed(0.01, 1e6))
    torque_nm: float | None = field(default=None, metadata=allowed(0.001, 2000.0))
    screw_mm: float = field(
        default=12.0, metadata=allowed(1.0, 100.0, matters="the force that the screw makes of its torque")
    )
    thread: str = field(
        default=Thread.OILED,
        metadata=allowed(words=Thread, matters="the force that the screw makes of its torque"),
    )
    screw_to_heel_mm: float = field(
        default=40.0, metadata=allowed(0.5, 2000.0, matters="the force of the strap on the part")
    )
    screw_to_part_mm: float = field(
        default=40.0, metadata=allowed(0.5, 2000.0, matters="the force of the strap on the part")
    )
    spread_share: float = field(
        default=0.2, metadata=allowed(0.0, 0.9, matters="the range of the clamp's force")
    )
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Milling:
    """A milling cut that the parts are held against, by a cutter that turns clockwise seen from above.

    Parameters
    ----------
    name : str
        What it is called.
    parts : tuple of str
        The parts that are milled in it, each by itself.
    face : str
        Name of the level face that is milled on each part.
    feed : Vector
        Level direction in which the cutter moves along the part.
    cutter_mm, teeth : float, int
        Diameter and number of teeth.
    deep_mm, wide_mm : float
        Axial depth, and width of the cut.
    feed_mm_tooth : float
        Feed for each tooth.
    cuts_as : str
        Class of the material in the table of milling.
    way : str
        How the cutter stands to what it cuts: `climb` (that lies to the right of its axis, looking along the
        feed, as far out as the cutter reaches), `conventional` (to the left), `centred`, or `any` where that
        is not known: all three are tried then, and the worst counts.
    helix_deg : float or None
        Angle of the flutes, which lifts the part; None takes what cutters are sold with.
    corner_mm : float
        Radius of the cutter's corners; half of its diameter for a ball. A round edge takes thin, wide chips.
    taper_deg : float
        Of a tapered cutter, from its axis to its side.
    head_mm, neck_mm : float or None, float
        Height of the flutes of a run whose shank is thinner, and the diameter of that; None has none.
    of_run : bool
        Whether it stands for the moves of an end mill: fed every way along the face, and first at the top of
        the stock.
    """

    name: str
    parts: tuple[str, ...]
    face: str
    cutter_mm: float = field(metadata=allowed(0.2, 500.0))
    teeth: int = field(metadata=allowed(1, 100))
    deep_mm: float = field(metadata=allowed(0.001, 300.0))
    wide_mm: float = field(metadata=allowed(0.001, 500.0))
    feed_mm_tooth: float = field(metadata=allowed(1e-4, 5.0))
    feed: Vector = field(
        default=(1.0, 0.0, 0.0),
        metadata=allowed(-1e6, 1e6, items=3, matters="which way the cutter pushes the parts"),
    )
    cuts_as: str = field(default="soft_steel", metadata=allowed(words=CUTS_AS, matters="the cutting force"))
    way: str = field(
        default=MillWay.ANY, metadata=allowed(words=MillWay, matters="which way the cutter pushes the parts")
    )
    helix_deg: float | None = field(
        default=None, metadata=allowed(0.0, MOST_HELIX_DEG, matters="how hard the cutter lifts the parts")
    )
    corner_mm: float = field(default=0.0, metadata=allowed(0.0, 250.0, matters="the cutting force"))
    taper_deg: float = field(default=0.0, metadata=allowed(0.0, 45.0, matters="the cutting force"))
    head_mm: float | None = field(default=None, metadata=HIDDEN)
    neck_mm: float = field(default=0.0, metadata=HIDDEN)
    of_run: bool = field(default=False, metadata=HIDDEN)
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)


@recorded
@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """What holds the parts while they are ground.

    Parameters
    ----------
    magnet : str
        `full`, `trifle` or `off`.
    trifle_share : float
        Strength of the trifle, as a share of the full magnetomotive force.
    residual_share : float
        The same for what is left when the magnet is switched off: common practice, no source.
    rated_pull_n_cm2 : float or None
        Pull of the full magnet on a thick ground piece of mild steel, as its maker states it; every pull
        is relative to it. None assumes 80, and answers say so.
    rating_piece_mm : tuple of float
        Size of the piece that the pull is rated on, along X, along Y, and height. Empty takes one as long and
        wide as four distances between poles, 100 x 100 x 40 mm at 25, or as the poles reach.
    rating_finish : str
        Finish of that piece.
    shim_mm, shim_pull_n_cm2 : float or None
        A second point: the pull measured over a non-magnetic shim.
    source_gap_mm : tuple of float
        Air gap of the same conductance as the magnet behind a pole, per area of the pole's back: of the
        stiffest and of the softest magnet that it may be. Empty takes 0.00064 and 0.12 of the distance
        between poles. Both are worked out, and what holds less counts.
    source_mmf_a : tuple of float
        Magnetomotive force of the full magnet behind either of these gaps; empty finds it from the rated
        pull.
    calibrated : CalibratedChuck or None
        The chuck as it was measured: the file that `fixturecheck calibrate` wrote. It takes the place of the
        rated pull and of the source.
    clamps : tuple of Clamp
        Vise, straps, toes.
    milling : tuple of Milling
        Milling cuts to hold against, besides the grinding cuts of the set-up.
    friction : str
        Kind of contact, from the table of friction.
    mu : tuple of float
        Low and high of the dry contact, in place of `friction`; empty takes the table's.
    coolant : bool
        A film of water or coolant lies between the contacts, as it does unless one grinds dry: the friction
        that counts is then no more than that of the film.
    abrasive : str
        Kind of wheel, from the table of grinding.
    grinds_as : mapping of str to str
        By part, its class in the table of grinding: `soft_steel`, `hard_steel` or `cast_iron`.
    curves_between : mapping of str to tuple of str
        By material without a B-H curve, two materials that have one and that it lies between.
    blocking : tuple of str or None
        Fixtures that stand loose and are held like the parts; None takes every fixture of one piece that
        stands on another, and every block on the bare table that only stops parts.
    least_factor : float
        Times the cutting load that the hold must reach.
    """

    magnet: str = field(default=MagnetState.OFF, metadata=allowed(words=MagnetState, matters="every pull"))
    trifle_share: float = field(default=0.15, metadata=allowed(0.001, 1.0, matters="every pull of a trifle"))
    residual_share: float = field(
        default=0.03, metadata=allowed(0.0001, 1.0, matters="how hard the parts come off")
    )
    rated_pull_n_cm2: float | None = field(
        default=None, metadata=allowed(1.0, 500.0, matters="every pull, and so the hold")
    )
    rating_piece_mm: tuple[float, ...] = field(
        default=(), metadata=allowed(1.0, 1000.0, items=3, matters="every pull, and so the hold")
    )
    rating_finish: str = field(default="lapped", metadata=allowed(matters="every pull, and so the hold"))
    shim_mm: float | None = field(default=None, metadata=allowed(0.001, 20.0))
    shim_pull_n_cm2: float | None = field(default=None, metadata=allowed(0.01, 500.0))
    source_gap_mm: tuple[float, ...] = field(
        default=(), metadata=allowed(0.0001, 5.0, items=2, matters="every pull, and so the hold")
    )
    source_mmf_a: tuple[float, ...] = field(default=(), metadata=allowed(0.1, 1e6, items=2))
    calibrated: CalibratedChuck | None = None
    clamps: tuple[Clamp, ...] = ()
    milling: tuple[Milling, ...] = ()
    friction: str = field(
        default="magnet", metadata=allowed(words=FRICTIONS, matters="what resists sliding, and so the hold")
    )
    mu: tuple[float, ...] = field(default=(), metadata=allowed(0.0, 2.0, items=2))
    coolant: bool = field(default=True, metadata=allowed(matters="what resists sliding, and so the hold"))
    abrasive: str = field(default="alumina", metadata=allowed(words=ABRASIVES, matters="the cutting force"))
    grinds_as: Mapping[str, str] = field(default_factory=dict, metadata=allowed(words=tables.GRINDS_AS))
    curves_between: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    blocking: tuple[str, ...] | None = None
    least_factor: float = field(default=3.0, metadata=allowed(0.1, 100.0, matters="which factor is a go"))
    stated: frozenset[str] = field(default=frozenset(), repr=False, compare=False, metadata=HIDDEN)

    def __post_init__(self) -> None:
        """Take the source of a calibrated chuck where none is stated."""
        if self.calibrated is not None and not self.source_gap_mm and not self.source_mmf_a:
            object.__setattr__(self, "source_gap_mm", self.calibrated.source_gap_mm)
            object.__setattr__(self, "source_mmf_a", self.calibrated.source_mmf_low_a)

    @property
    def rated_n_cm2(self) -> float:
        """Return the rated pull, stated or assumed."""
        return ASSUMED_PULL_N_CM2 if self.rated_pull_n_cm2 is None else self.rated_pull_n_cm2

    @property
    def strength_share(self) -> float:
        """Return the magnet's strength as it stands, a share of the full magnetomotive force."""
        return {MagnetState.FULL: 1.0, MagnetState.TRIFLE: self.trifle_share}.get(
            MagnetState(self.magnet), 0.0
        )

    @property
    def jaws(self) -> frozenset[str]:
        """Return the bodies that are the moving jaws of vises."""
        return frozenset(c.body for c in self.clamps if c.kind == ClampKind.VISE)


def refuse_bad_holding(setup: Setup) -> None:
    """Raise for the first thing in the holding of a set-up that cannot be computed with.

    Parameters
    ----------
    setup : Setup
        With bodies that are sound and named once.

    Raises
    ------
    SetupError
        Says what, and what to do.
    """
    holding: object = setup.holding
    if holding is None:
        return
    if not isinstance(holding, Holding):
        raise SetupError(f"holding must be a Holding; got {type(holding).__name__}")
    _refuse_bad_magnet(setup, holding)
    _refuse_bad_source(holding)
    _refuse_bad_mu(holding)
    bodies = [b.name for b in setup.bodies]
    parts = [b.name for b in setup.bodies if b.role == BodyRole.PART]
    for part, kind in holding.grinds_as.items():
        _known(part, parts, "holding, grinds_as")
        one_of(kind, tables.GRINDS_AS, f"holding, grinds_as of {part!r}")
    for material, curves in holding.curves_between.items():
        _refuse_bad_curves(material, curves)
    for name in holding.blocking or ():
        if any(b.name == name and b.fastened for b in setup.bodies):
            raise SetupError(
                f"holding, blocking: {name!r} is stated as fastened, so it is not loose; state one of the two"
            )
        _known(name, [b for b in bodies if b not in parts], "holding, blocking")
    for kind, stated in (("clamp", holding.clamps), ("mill", holding.milling)):
        _refuse_repeats(kind, [one.name for one in stated])
    for clamp in holding.clamps:
        with about("clamp", clamp.name):
            _refuse_bad_clamp(setup, clamp)
    for mill in holding.milling:
        with about("mill", mill.name):
            _refuse_bad_milling(setup, mill)


def _refuse_repeats(kind: str, names: list[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            message = f"{kind} {name!r}: stated more than once; each needs a name of its own"
            raise SetupError(Problem(message, (kind, name)))


def _refuse_bad_magnet(setup: Setup, holding: Holding) -> None:
    if holding.magnet != MagnetState.OFF and not setup.poles():
        raise SetupError(
            f"holding, magnet {holding.magnet!r}: no body is a magnet's pole; take a magnetic chuck or "
            "V-block of the shop, or state pole 'n' and 's' on the pole pieces"
        )
    if (holding.shim_mm is None) != (holding.shim_pull_n_cm2 is None):
        raise SetupError("holding: state shim_mm and shim_pull_n_cm2 together, or neither")
    if holding.shim_pull_n_cm2 is not None and holding.shim_pull_n_cm2 >= holding.rated_n_cm2:
        raise SetupError(
            f"holding: shim_pull_n_cm2 {holding.shim_pull_n_cm2:g} must be less than rated_pull_n_cm2 "
            f"{holding.rated_n_cm2:g}; a shim weakens the pull"
        )


def _refuse_bad_source(holding: Holding) -> None:
    """Refuse a source that is stated in part, twice or backwards."""
    gap, mmf = holding.source_gap_mm, holding.source_mmf_a
    if holding.calibrated is not None:
        _refuse_beside_calibrated(holding, holding.calibrated)
    if len(holding.rating_piece_mm) not in (0, 3):
        raise SetupError(
            "holding, rating_piece_mm: state three sizes, along X, along Y and height; got "
            f"{list(holding.rating_piece_mm)}"
        )
    if gap and (len(gap) != 2 or gap[0] > gap[1]):
        raise SetupError(
            f"holding, source_gap_mm: state the stiffest and the softest, as [0.2, 1]; got {list(gap)}"
        )
    if mmf and (len(mmf) != 2 or not gap):
        raise SetupError(
            "holding, source_mmf_a: state one for each of the two source_gap_mm, like [120, 600]; got "
            f"{list(mmf)} for {list(gap)}"
        )
    if gap and holding.shim_mm is not None:
        raise SetupError(
            "holding: the pull over a shim tells the source; state shim_mm or source_gap_mm, not both"
        )
    try:
        tables.finish(holding.rating_finish)
    except SetupError as reason:
        raise SetupError(f"holding, rating_finish: {reason}") from reason


def _refuse_beside_calibrated(holding: Holding, chuck: CalibratedChuck) -> None:
    """Refuse a magnet that is stated besides the chuck file that tells it."""
    beside = [
        name
        for name in ("rated_pull_n_cm2", "rating_piece_mm", "shim_mm", "shim_pull_n_cm2")
        if getattr(holding, name) not in (None, ())
    ]
    if holding.source_gap_mm != chuck.source_gap_mm or holding.source_mmf_a != chuck.source_mmf_low_a:
        beside.append("source_gap_mm")
    if beside:
        raise SetupError(f"holding: the calibrated chuck tells the magnet; leave out {', '.join(beside)}")


def _refuse_bad_mu(holding: Holding) -> None:
    if holding.mu and (len(holding.mu) != 2 or holding.mu[0] > holding.mu[1]):
        raise SetupError(f"holding, mu: state low and high, like [0.15, 0.3]; got {list(holding.mu)}")


def _refuse_bad_curves(material: str, curves: tuple[str, ...]) -> None:
    where = f"holding, curves_between of {material!r}"
    for name in (material, *curves):
        try:
            found = tables.material(name)
        except SetupError as reason:
            raise SetupError(f"{where}: {reason}") from reason
        if name != material and not found.bh:
            raise SetupError(f"{where}: {name!r} has no B-H curve either; name two materials that have one")
    if len(curves) != 2:
        raise SetupError(f"{where}: name two materials, the weaker and the stronger; got {list(curves)}")
    named = [tables.material(name) for name in curves]
    for flaw in tables.curve_contradictions(tables.material(material), named):
        raise SetupError(f"{where}: {flaw}")


def _refuse_bad_clamp(setup: Setup, clamp: Clamp) -> None:
    where = f"clamp {clamp.name!r}"
    _known(clamp.body, [b.name for b in setup.bodies], where)
    if setup.holding and [c.name for c in setup.holding.clamps].count(clamp.name) > 1:
        raise SetupError(f"{where}: another clamp has this name; give each its own")
    if (clamp.force_n is None) == (clamp.torque_nm is None):
        raise SetupError(f"{where}: state force_n or torque_nm, one of the two")
    body = setup.body(clamp.body)
    if clamp.kind == ClampKind.VISE:
        if clamp.face is not None and clamp.face in body.unclear:
            raise SetupError(f"{where}: {body.why_unclear(clamp.face)}")
        if clamp.face is None or clamp.face not in body.face_names():
            hint = nearest(str(clamp.face), body.faces)
            raise SetupError(f"{where}: state the face of {clamp.body!r} that presses; {hint}")
        return
    if clamp.at_mm is None or len(clamp.at_mm) != 3:
        raise SetupError(f"{where}: state at_mm, the three coordinates where it presses")
    if clamp.kind == ClampKind.TOE and not _level(clamp.inward):
        raise SetupError(f"{where}: state inward, a level direction toward the part; got {clamp.inward!r}")


def _refuse_bad_milling(setup: Setup, mill: Milling) -> None:
    where = f"mill {mill.name!r}"
    if any(c.name == mill.name for c in setup.cuts):
        raise SetupError(f"{where}: a grinding cut has this name; give it another")
    parts: object = mill.parts
    if not isinstance(parts, list | tuple) or not parts or len(set(parts)) < len(parts):
        raise SetupError(f"{where}: parts must be a list of part names, each once; got {parts!r}")
    for part in mill.parts:
        _known(part, [b.name for b in setup.bodies if b.role == BodyRole.PART], where)
        if mill.face in setup.body(part).unclear:
            raise SetupError(f"{where}: {setup.body(part).why_unclear(mill.face)}")
        if mill.face not in setup.body(part).face_names():
            raise SetupError(
                f"{where}: {part!r} has no face {mill.face!r}; {nearest(mill.face, setup.body(part).faces)}"
            )
    if not _level(mill.feed):
        raise SetupError(f"{where}: state feed, a level direction; got {mill.feed!r}")
    if mill.wide_mm > mill.cutter_mm:
        raise SetupError(f"{where}: wide_mm {mill.wide_mm:g} is more than the cutter's {mill.cutter_mm:g}")
    if mill.corner_mm > 0.5 * mill.cutter_mm + 1e-9:
        raise SetupError(
            f"{where}: corner_mm {mill.corner_mm:g} is more than half of the {mill.cutter_mm:g} across"
        )


def _level(direction: Vector | None) -> bool:
    if direction is None or len(direction) != 3:
        return False
    across = math.hypot(direction[0], direction[1])
    return across > 0.0 and abs(direction[2]) <= 1e-9 * across


def _known(name: str, known: Iterable[str], where: str) -> None:
    names = list(known)
    if name not in names:
        raise SetupError(f"{where}: no such body as {name!r}; {nearest(str(name), names)}")
