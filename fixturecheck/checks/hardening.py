"""Do sizes, hardness and surface come out right when the parts are hardened.

What: how far each size with a tolerance changes, and whether what is left on its faces is enough to grind
it right; faces that keep a spoilt surface; whether the process hardens this steel; hardness after the
temper against what is wanted, and toughness there; where a hardness test may mark the part; holes that
blasting would spoil; magnetism that is left.
Why: a size that is ground before and not after moves by a part in a thousand, which is all of its
tolerance; an untempered or wrongly tempered part breaks or wears.
Formulas: a size in direction n changes by the share a (n.r)^2 + c (1 - (n.r)^2), a along the direction of
rolling r and c across it; stock for each ground side: change / sides + distortion + spoilt surface; a flat
face that is finished before lies off by its change and half of what it bends; HRC = 100 - h / 0.002 mm.
Limits: half the tolerance zone of a face, measured from the part's first parallel seat, else from its far
side, for its change and for a spoilt surface that stays on it; half the tolerance of a stated size; ten
depths of the mark under a hardness test and two and a half widths beside it (ISO 6508-1 [@iso6508], from
memory). Size changes and tempers are those of the steel's table with their sources.
Go: a block of A2, 20 mm high, with 0.1 mm left on top. No-go: the same block ground to 20 +-0.005 before.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.checks.stage import Stage
from fixturecheck.errors import NotComputedError
from fixturecheck.files import uncited
from fixturecheck.hardening.steels import hardening_process, hardening_processes
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.hardening import (
    DIAMETER,
    HardeningFound,
    HardnessSpot,
    SizeChange,
    SpoiltFace,
    SteelTempered,
)
from fixturecheck.setup.hardening import HardenedWhen, Hardening, hardened_parts
from fixturecheck.units import Writing
from fixturecheck.wording.sentences import first_up, listed
from fixturecheck.wording.settings import (
    change_words,
    hrc_words,
    size_words,
    spot_words,
    temperature_words,
    tempered_words,
)

TITLE = "Sizes and hardness after hardening"

NEAR_BEST_SHARE = 0.9
"""A temper is as good as the toughest that gives the wanted hardness where it has this share of its impact
energy; chosen here, no source."""

_NIL_HRC = 1e-6
_STANDARD = "ISO 6508-1, from memory"
_TRADE = "common practice, no source"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the findings of sizes, surface, hardness, its test, holes and magnetism."""
    found, hardening, write = stage.hardened, stage.setup.hardening, stage.setup.write
    if found is None or hardening is None:
        return
    sources = {part: uncited(s.source) for s in found.steels for part in s.parts}
    if hardening.growth_share:
        sources = {size.face.body: "size change as stated" for size in found.sizes}
    for size in found.sizes:
        yield _size(size, sources[size.face.body], write)
    for skin in found.skins:
        yield _skin(skin, hardening.process, write)
    for steel in found.steels:
        yield from _steel(steel)
    for spot in found.spots:
        yield _spot(spot, hardening, write)
    yield from _holes(found)
    yield from _magnetism(stage, hardening)
    for subject, reason in found.missing:
        yield not_computed(subject, NotComputedError(reason))


def _size(size: SizeChange, source: str, write: Writing) -> Finding:
    """Hold a size against its tolerance, or the stock that is left on it against what it needs."""
    says = f"{size_words(size, write)} {change_words(size, write)} as it is hardened"
    if size.sides:
        need = write.length(size.needed_mm, ".2f", "up")
        on = "" if size.sides == 1 else " on either side"
        return judge(
            size.left_mm,
            unit="mm",
            at_least=size.needed_mm,
            rounding=1e-9,
            kind=Kind.SIZE_CHANGE,
            about=(size.face,),
            says=f"{says}; {write.length(size.left_mm, 'g')} left{on} to grind off after, of {need} needed "
            "for growth, distortion and spoilt surface.",
            remedy=f"Leave {need} on {size.face}{on}, and grind it after hardening.",
            source=source,
            location_mm=size.at_mm,
            direction=size.direction,
        )
    limit = write.gap(size.limit_mm * 1e3)
    if size.bends_high_mm > 0.0:
        low, high = (write.number(v * 1e3, "um", ".3g") for v in (size.bends_low_mm, size.bends_high_mm))
        bends = high if low == high else f"{low} to {high}"
        says += f" and may bend or twist by {bends} {write.name('um')}"
    may_do = size.off_mm(size.bends_low_mm) <= size.limit_mm
    return judge(
        size.off_mm(size.bends_high_mm) * 1e3,
        unit="um",
        at_most=size.limit_mm * 1e3,
        short=Verdict.CAUTION if may_do else Verdict.NO_GO,
        kind=Kind.SIZE_CHANGE,
        about=(size.face,),
        says=f"{says}, and is not ground after; its tolerance allows {limit} either way.",
        remedy=_made_right(size, write),
        source=source,
        location_mm=size.at_mm,
        direction=size.direction,
    )


def _made_right(size: SizeChange, write: Writing) -> str:
    """Say what to leave, or by how much to miss the size beforehand where its change is known well enough."""
    need = write.length(size.needed_mm, ".2f", "up")
    leave = (
        f"Leave {need} on {size.face} and {'hone' if size.to == DIAMETER else 'grind'} it after hardening."
    )
    if size.unsure_mm + 0.5 * size.bends_high_mm <= size.limit_mm:
        aim, way = write.gap(abs(size.aim_mm) * 1e3), "under" if size.aim_mm > 0 else "over"
        leave += f" Or finish it {aim} {way} size before: the change then brings it within its tolerance."
    return leave


def _skin(skin: SpoiltFace, process: str, write: Writing) -> Finding:
    """Judge a face with a tolerance that keeps the surface of the furnace, by the least that is spoilt."""
    row = hardening_process(process)
    deeper = skin.low_mm > skin.limit_mm
    says = f"{skin.face} is finished before hardening and keeps the surface that {process} leaves, "
    says += f"{write.gap(skin.low_mm * 1e3)} to " if deeper else "up to "
    says += f"{write.gap(skin.high_mm * 1e3)} deep: {row.surface}."
    if deeper:
        says += f" Its tolerance allows {write.gap(skin.limit_mm * 1e3)} either way."
    return judge(
        skin.high_mm * 1e3,
        unit="um",
        at_most=0.0,
        short=Verdict.NO_GO if deeper else Verdict.CAUTION,
        kind=Kind.SKIN,
        about=(skin.face,),
        says=says,
        remedy=f"Leave stock on {skin.face} and take the spoilt surface off with it after hardening"
        + (
            ", or harden it where air does not reach it: in a vacuum, or in salt."
            if row.removed_mm.low > 0.0
            else "."
        ),
        source=_TRADE,
    )


def _steel(steel: SteelTempered) -> Iterator[Finding]:
    """Judge whether a steel hardens in this process, how hard it comes out, and how tough."""
    source = uncited(steel.source)
    if not steel.hardens:
        ways = [n for n, p in hardening_processes().items() if p.quench in steel.quenches]
        says = f"{steel.steel} hardens in {' or '.join(steel.quenches)}; {steel.process} is a {steel.says}, "
        yield judge(
            None,
            verdict=Verdict.NO_GO,
            subject=steel.steel,
            kind=Kind.QUENCH,
            about=steel.parts,
            says=says + "which does not harden it, or cracks it.",
            remedy=f"Harden it by {' or '.join(ways)}.",
            source=source,
        )
    if steel.missing:
        yield from _not_hard(steel, source)
        return
    yield _hardness(steel, source)
    yield from _toughness(steel, source)


def _not_hard(steel: SteelTempered, source: str) -> Iterator[Finding]:
    """Yield what is known where no temper gives the wanted hardness, or the table does not reach."""
    if steel.wanted_hrc and steel.best_c is None:
        hardest = max((h for _, h in steel.curve_hrc), default=0.0)
        softest = min((h for _, h in steel.curve_hrc), default=0.0)
        beyond = min(steel.wanted_hrc) > hardest or max(steel.wanted_hrc) < softest
        if beyond:
            yield judge(
                None,
                verdict=Verdict.NO_GO,
                subject=steel.steel,
                kind=Kind.HARDNESS,
                about=steel.parts,
                says=f"{first_up(steel.missing)}.",
                source=source,
            )
            return
    yield not_computed(steel.steel, NotComputedError(steel.missing), source=source)


def _hardness(steel: SteelTempered, source: str) -> Finding:
    """Hold hardness after the temper against what is wanted."""
    says, middle = tempered_words(steel), sum(steel.hardness_hrc) / 2
    value, limit, verdict = middle, None, Verdict.GO
    remedy = "" if steel.best_c is None else f"Temper it at {temperature_words(steel.best_c)}."
    if steel.temper_c is None:
        says = f"No temper is stated: {says}, brittle and full of stress, and may crack as it lies."
        verdict, remedy = Verdict.CAUTION, "Temper it at once, and state temper_c or wanted_hrc."
    elif steel.wanted_hrc:
        low, high = steel.wanted_hrc
        says = f"{says}; {hrc_words(steel.wanted_hrc)} is wanted."
        off = max(low - middle, middle - high)
        value, limit = off if off > _NIL_HRC else 0.0, 0.0
        may_do = min(steel.hardness_hrc[1], high) >= max(steel.hardness_hrc[0], low)
        verdict = Verdict.GO if value == 0.0 else Verdict.CAUTION if may_do else Verdict.NO_GO
    else:
        says = f"{says}; no hardness is asked."
    return judge(
        value,
        unit="HRC",
        at_most=limit,
        verdict=verdict,
        subject=steel.steel,
        kind=Kind.HARDNESS,
        about=steel.parts,
        says=says,
        remedy=remedy or None,
        source=source,
    )


def _toughness(steel: SteelTempered, source: str) -> Iterator[Finding]:
    """Caution where another temper gives much more toughness for the wanted hardness, or near by."""
    if steel.energy_j is None or steel.temper_c is None:
        return
    best_j, best_c = steel.best_j, steel.best_c
    if best_j is None or best_c is None:
        turns = [t for t in steel.turns if t[0] == "peak"]
        if not turns:
            return
        _, best_c, best_j = min(turns, key=lambda t: abs(t[1] - (steel.temper_c or 0.0)))
    good = steel.energy_j >= NEAR_BEST_SHARE * best_j
    yield judge(
        steel.energy_j,
        unit="J",
        at_least=NEAR_BEST_SHARE * best_j,
        short=Verdict.CAUTION,
        subject=steel.steel,
        kind=Kind.TOUGHNESS,
        about=steel.parts,
        says=f"At {temperature_words(steel.temper_c)} {steel.steel} takes {steel.energy_j:.0f} J"
        + (
            ", about as much as at any temper nearby."
            if good
            else f"; at {temperature_words(best_c)} {best_j:.0f} J."
        ),
        remedy=f"Temper it at {temperature_words(best_c)} where the hardness there will do.",
        source=source,
    )


def _spot(spot: HardnessSpot, hardening: Hardening, write: Writing) -> Finding:
    """Say where a part may be tested, or that a piece of the same bar has to go along."""
    words = spot_words(spot, write)
    piece = hardening.test_piece
    value, limit = (spot.edge_mm, spot.least_edge_mm) if spot.face else (None, None)
    says = (
        f"{words}."
        if spot.good or not piece
        else f"{words}; the test piece of the same bar is tested instead."
    )
    return judge(
        value,
        unit="mm" if value is not None else "",
        at_least=limit,
        verdict=Verdict.GO if spot.good or piece else Verdict.CAUTION,
        kind=Kind.HARDNESS_TEST,
        about=(spot.part,),
        says=says,
        remedy="Harden a piece of the same bar with it and test that; state test_piece = true.",
        source=_STANDARD,
        location_mm=spot.at_mm,
        direction=spot.direction,
    )


def _holes(found: HardeningFound) -> Iterator[Finding]:
    """Ask for plugs in holes that the blast would open."""
    if found.holes:
        names = listed([str(h) for h in found.holes])
        yield judge(
            None,
            verdict=Verdict.CAUTION,
            subject=names,
            kind=Kind.HOLES,
            about=tuple(found.holes),
            says=f"The parts are blasted clean, which rounds and opens {names}.",
            remedy=f"Plug {names} while they are blasted, and name them under plugged.",
            source=_TRADE,
        )


def _magnetism(stage: Stage, hardening: Hardening) -> Iterator[Finding]:
    """Ask for demagnetising where the parts come off a magnet before they go to the furnace."""
    if hardening.when != HardenedWhen.AFTER or not stage.setup.poles():
        return
    who = listed([b.name for b in hardened_parts(stage.setup)])
    done = hardening.demagnetised
    yield judge(
        None,
        verdict=Verdict.GO if done else Verdict.CAUTION,
        subject=who,
        kind=Kind.DEMAGNETISE,
        about=tuple(b.name for b in hardened_parts(stage.setup)),
        says=f"{who} {'is' if done else 'would be'} demagnetised and washed before the furnace"
        + ("." if done else ": grit and chips that cling to a magnetised part burn onto it."),
        remedy=None if done else "Demagnetise and wash, and state demagnetised = true.",
        source=_TRADE,
    )
