"""How do the parts come off after the cut without rubbing a finished face, and what is done before the next.

What: in which order blocking and parts come away, which way each lifts or tips, what force that takes with
the magnet off, where a pry reaches, which steel must be demagnetised, which edges are stoned.
Why: a part that is slid off the chuck carries grit over the face that was just ground; a part that keeps
magnetism carries chips to its next seat, and so does a burr lift it.
Formulas: a way is free when no contact closes and no solid meets another over 5 mm of travel; force from
weight and the field solved at the residual share of the magnet; a tip takes their moment over the reach.
Limits: what fingers do, 50 N (mean tip pinch of women, Mathiowetz [@mathiowetz1985], from memory); coercivity
of semi-hard steel from 1 kA/m (E-Magnetica.pl [@emagnetica]).
Go: a gib behind two blocks that tip away from it. No-go: a part under an overhang in a closed pocket.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.checks.stage import Stage
from fixturecheck.holding.model import Release
from fixturecheck.magnet.remanence import SOFT_BELOW_A_M
from fixturecheck.release.motions import TRAVEL_MM
from fixturecheck.release.sequence import HAND_N
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, not_computed
from fixturecheck.result.release import BodyLeaves
from fixturecheck.shop.tables import material
from fixturecheck.units import Writing
from fixturecheck.wording.hold import burr_words, first_words, keeps_words, pry_words, step_words
from fixturecheck.wording.sentences import sentence

TITLE = "Parts come off clean"

SOURCE = (
    "field solution at the residual share; tip pinch from memory; blade, and tipping instead of sliding: "
    "common practice, no source"
)
KEEPS = "coercivity from the table of materials; semi-hard from 1 kA/m, E-Magnetica.pl"
BURRS = "edges of the solids; heavier where the sparks leave: common practice, no source"


def _source(write: Writing) -> str:
    return f"motions tried on the solids over {write.length(TRAVEL_MM, 'g')}; {SOURCE}"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield a finding for each body in the order in which it comes off, for its steel, and for the burrs."""
    held = stage.held
    if held is None or held.release is None:
        return
    release = held.release
    if not release.order:
        reason = release.reason or "no part or blocking is loose"
        says = f"How the parts come off is not known: {reason}."
        yield not_computed("release", says, source=_source(stage.setup.write))
        return
    for number, body in enumerate(release.order, start=1):
        yield _comes_off(release, body, number, stage.setup.write)
    yield from _keeps(stage, release)
    if release.burrs:
        edges = "; ".join(burr_words(b) for b in release.burrs)
        says = f"Stone these edges before the next seating: {edges}."
        yield judge(None, verdict=Verdict.GO, subject="burrs", kind=Kind.BURRS, says=says, source=BURRS)


def _comes_off(release: Release, body: BodyLeaves, number: int, write: Writing) -> Finding:
    """Judge one body's way."""
    before = f"{sentence(first_words(release.before))} " if number == 1 else ""
    best = body.ways[0] if body.ways else None
    step = step_words(body.body, best, hand_n=HAND_N, keeps=body.demagnetise, write=write)
    pry = ""
    if not body.by_hand or body.demagnetise:
        pry = (
            f" A pry reaches it {pry_words(body.pry, write)}."
            if body.pry
            else " No edge of it is free to pry at."
        )
    rubs = ""
    if best and best.rubs:
        pairs = ", ".join(f"{own} on {other}" for own, other in best.rubs)
        rubs = f" No way that was tried spares finished faces: it rubs {pairs}."
    reason = f" Not known: {release.reason}." if _unknown(release, body) else ""
    high = best.force_n[1] if best and best.force_n else None
    return judge(
        high,
        unit="N",
        at_most=HAND_N if high is not None else None,
        verdict=_verdict(release, body),
        subject=f"{body.body}, {number} of {len(release.order)}",
        kind=Kind.COMES_OFF,
        about=(body.body,),
        says=f"{before}{step}.{rubs}{pry}{reason}",
        source=_source(write),
        location_mm=body.at_mm,
        direction=body.direction,
    )


def _unknown(release: Release, body: BodyLeaves) -> bool:
    return bool(body.ways) and body.ways[0].force_n is None and bool(release.reason)


def _verdict(release: Release, body: BodyLeaves) -> Verdict:
    if not body.ways:
        return Verdict.NO_GO
    if _unknown(release, body):
        return Verdict.UNKNOWN
    if body.ways[0].rubs or (not body.by_hand and body.pry is None):
        return Verdict.CAUTION
    return Verdict.GO


def _keeps(stage: Stage, release: Release) -> Iterator[Finding]:
    """Ask for demagnetising where a steel keeps magnetism, once for each."""
    together: dict[str, list[BodyLeaves]] = {}
    for body in release.order:
        if body.keeps or body.keeps_unknown:
            together.setdefault(stage.setup.body(body.body).material, []).append(body)
    for name, bodies in sorted(together.items()):
        who = ", ".join(b.body for b in bodies)
        first = bodies[0]
        subject = f"{who}: {name}"
        if first.keeps is None:
            says = f"{who}: whether the steel keeps magnetism is not known: {first.keeps_unknown}."
            yield not_computed(subject, says, named=name, asks=Kind.KEEPS_MAGNETISM, unit="A/m", source=KEEPS)
            continue
        keeps = keeps_words(first.keeps, stage.setup.write)
        coercivity = material(name).coercivity_a_m
        high = coercivity[1] if coercivity else SOFT_BELOW_A_M
        yield judge(
            high,
            unit="A/m",
            at_most=SOFT_BELOW_A_M,
            verdict=Verdict.CAUTION,
            subject=subject,
            kind=Kind.KEEPS_MAGNETISM,
            named=name,
            about=tuple(b.body for b in bodies),
            says=f"Demagnetise {who} before lifting, and again before the next seating: {keeps}. "
            "The forces above count the magnet's own residual pull alone.",
            source=KEEPS,
        )
