"""Looks at an assembly as it is drawn: what touches, what clears, what overlaps, what is free to move."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from fixturecheck.contact.patch import ContactMap
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.kernel.measure import centre_of
from fixturecheck.kernel.place import placed_at
from fixturecheck.kernel.shapes import Solid
from fixturecheck.progress import Progress, silent
from fixturecheck.result import Result
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, worst
from fixturecheck.result.grouping import grouped
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.result.touching import BodyFree, BodyPair, PairState, Touching
from fixturecheck.setup.model import drawings_of
from fixturecheck.touching.bodies import Assembled
from fixturecheck.touching.freedoms import free_bodies
from fixturecheck.touching.pairs import body_pairs, touched_by
from fixturecheck.units import FREEDOM, Writing
from fixturecheck.wording.motion import free_says, pair_says, parting_says

ID = "touch"

_SOURCE = "geometry of the solids as drawn"
_FREE_SOURCE = "ranks of the contacts' rows, to first order, all other bodies held where they stand"
_RELEASED = 6
_KINDS = {PairState.OVERLAP: Kind.OVERLAP, PairState.TOUCH: Kind.TOUCH, PairState.CLEAR: Kind.CLEAR}


def surveyed(assembly: Assembled, *, progress: Progress = silent) -> Result:
    """Return how the bodies of an assembly stand to each other.

    A pair that overlaps is no-go; what could not be computed is unknown; all else is told, and go.

    Parameters
    ----------
    assembly : Assembled
        The bodies.
    progress : callable
        Called with what is being done, and the share done so far, 0 to 1.

    Raises
    ------
    SetupError
        The bodies are one heap, each overlapping many others.
    """
    setup = assembly.setup
    # The kernel adds to solids as it works, so that copies no longer look alike afterwards.
    drawings = drawings_of(setup)
    progress("contacts", 0.0)
    placed = {b.name: placed_at(b.solid, b.at) for b in setup.bodies}
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    progress("pairs", 0.5)
    pairs = body_pairs(setup, placed, contacts)
    progress("freedoms", 0.8)
    overlap = frozenset(n for p in pairs if p.state is PairState.OVERLAP for n in (p.a, p.b))
    free = free_bodies(setup, assembly.called, touched_by(pairs, setup), overlap)
    findings = tuple(_findings(pairs, free, (placed, contacts), setup.write))
    return Result(
        verdict=worst(f.verdict for f in findings),
        name=setup.name,
        units=setup.units,
        small_lengths=setup.small_lengths,
        sources=setup.sources,
        findings=findings,
        contacts=tuple(replace(p.contact, patch=p.name) for p in contacts.patches),
        cuts=(),
        shapes=_shapes(placed, contacts),
        touching=Touching(within_mm=setup.tolerances.near_mm, pairs=pairs, bodies=free),
        groups=grouped(findings, drawings),
        setup=setup,
    )


def _findings(
    pairs: tuple[BodyPair, ...],
    free: tuple[BodyFree, ...],
    seen: tuple[Mapping[str, Solid], ContactMap],
    write: Writing,
) -> Iterator[Finding]:
    """Yield a finding for each pair, then one for each body."""
    placed, contacts = seen
    shapes: dict[frozenset[str], list[NamedShape]] = {}
    for shape in (*(o.shape for o in contacts.overlaps), *(p.shape for p in contacts.patches)):
        shapes.setdefault(frozenset(shape.bodies), []).append(shape)
    for pair in pairs:
        yield _of_pair(pair, tuple(shapes[frozenset((pair.a, pair.b))]), write)
    for body in free:
        yield _of_body(body, placed[body.body], write)


def _of_pair(pair: BodyPair, shapes: tuple[NamedShape, ...], write: Writing) -> Finding:
    verdict = Verdict.GO if not pair.unknown else Verdict.UNKNOWN
    value, unit = {
        PairState.OVERLAP: (pair.volume_mm3, "mm3"),
        PairState.TOUCH: (pair.area_mm2, "mm2"),
        PairState.CLEAR: (pair.gap_mm, "mm"),
    }[pair.state]
    shown = {PairState.OVERLAP: (Role.OVERLAP,), PairState.CLEAR: (Role.NEAR,)}.get(
        pair.state, (Role.AREA, Role.LINE, Role.POINT)
    )
    return judge(
        value,
        check=ID,
        verdict=Verdict.NO_GO if pair.state is PairState.OVERLAP else verdict,
        subject=f"{pair.a} and {pair.b}",
        kind=_KINDS[pair.state],
        about=(pair.a, pair.b),
        unit=unit,
        says=pair_says(pair, write),
        remedy=parting_says(pair, write),
        source=_SOURCE,
        shapes=tuple(s for s in shapes if s.role in shown),
        location_mm=pair.at_mm,
        direction=pair.parting_way,
    )


def _of_body(free: BodyFree, solid: Solid, write: Writing) -> Finding:
    body = NamedShape(name=free.body, role=Role.PART, geometry=solid, bodies=(free.body,))
    return judge(
        None if free.unknown else float(len(free.keeps) if free.touches else _RELEASED),
        check=ID,
        verdict=Verdict.UNKNOWN if free.unknown else Verdict.GO,
        subject=free.body,
        kind=Kind.FREE,
        about=(free.body,),
        unit="" if free.unknown else FREEDOM,
        says=free_says(free, write),
        source=_FREE_SOURCE,
        shapes=(body,),
        location_mm=centre_of(solid),
        direction=free.leaves[0] if free.leaves else None,
    )


def _shapes(placed: Mapping[str, Solid], contacts: ContactMap) -> tuple[NamedShape, ...]:
    """Return the bodies, then every patch and what is shared."""
    bodies = [NamedShape(name=n, role=Role.PART, geometry=solid, bodies=(n,)) for n, solid in placed.items()]
    return (*bodies, *(p.shape for p in contacts.patches), *(o.shape for o in contacts.overlaps))
