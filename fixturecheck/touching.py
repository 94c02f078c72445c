"""Looks at an assembly as it is drawn: what touches, what clears, what overlaps, what is free to move."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from fixturecheck.arrays import Floats
from fixturecheck.contact.patch import ContactMap, Overlap, Patch
from fixturecheck.contact.patches.approach import shortest_parting
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.contact.proximity.query import find_candidates
from fixturecheck.effort import BOOLEAN, SEAT, Budget, SpentError, spend, spending
from fixturecheck.errors import KernelError, Mistakes, SetupError
from fixturecheck.kernel.depth import reach_mm
from fixturecheck.kernel.measure import centre_of, centroid_of, distance, volume_mm3
from fixturecheck.kernel.place import placed_at, taken_apart
from fixturecheck.kernel.script import DrawnSolid, drawn_solids
from fixturecheck.kernel.shapes import Solid
from fixturecheck.kernel.step import faces_outside, read
from fixturecheck.names import distinct
from fixturecheck.nesting.model import settling_model_of
from fixturecheck.nesting.outcome import LOOK_MM, freedoms_among
from fixturecheck.numeric import to_vector
from fixturecheck.progress import Progress, silent
from fixturecheck.result import Result, Source
from fixturecheck.result.contact import ContactKind
from fixturecheck.result.finding import Finding, Kind, Verdict, judge, worst
from fixturecheck.result.grouping import grouped
from fixturecheck.result.rest import BodyFree, BodyPair, PairState, Touching
from fixturecheck.result.shapes import NamedShape, Role, Vector
from fixturecheck.rigid import jacobian, opening_motion
from fixturecheck.setup.make import body
from fixturecheck.setup.model import Body, Setup, drawings_of
from fixturecheck.tolerances import Tolerances
from fixturecheck.units import FREEDOM, Writing
from fixturecheck.wording.motion import free_says, pair_says, parting_says

MOST_BODIES = 1000
"""Bodies that are compared at most."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Assembled:
    """The bodies of an assembly.

    Parameters
    ----------
    setup : Setup
        The bodies, with nothing stated about them.
    called : mapping of str to str
        What the file or the script calls each body.
    """

    setup: Setup
    called: dict[str, str]


def assembled(thing: object, *, within_mm: float, name: str = "", units: str = "mm") -> Assembled:
    """Return the bodies of what was drawn, or of the file that holds them.

    Parameters
    ----------
    thing : object
        As `drawn_solids` takes it, or the path of a STEP or BREP file.
    within_mm : float
        How far bodies may be apart to be told.
    name : str
        What the whole is called; its own name or its file's where it is empty.
    units : str
        `mm` or `inch`: what reports show.

    Returns
    -------
    Assembled

    Raises
    ------
    SetupError
        There are fewer than two solids or too many, one is not sound, or something else is in it.
    """
    sources: tuple[Source, ...] = ()
    if isinstance(thing, str | os.PathLike):
        found, source = _in_file(Path(thing))
        sources, own, what = (source,), Path(thing).stem, Path(thing).name
    else:
        found = drawn_solids(thing)
        own = str(getattr(thing, "name", "") or getattr(thing, "label", ""))
        what = own or "the assembly"
    if len(found) < 2:
        raise SetupError(f"{what} holds one solid; give an assembly of two or more to see what touches")
    if len(found) > MOST_BODIES:
        raise SetupError(
            f"{what} holds {len(found)} solids; at most {MOST_BODIES} are compared, so give a part of it"
        )
    names = list(distinct(one.name for one in found))
    bodies = _bodies(found, names)
    setup = Setup(
        name=_printable(name or own) or "assembly",
        units=units,
        bodies=bodies,
        tolerances=Tolerances(near_mm=within_mm),
        sources=sources,
    )
    return Assembled(setup=setup, called={n: d.name for n, d in zip(names, found, strict=True)})


def _in_file(path: Path) -> tuple[list[DrawnSolid], Source]:
    file = read(path)
    if file.loose:
        raise SetupError(f"{path.name} holds {faces_outside(file.loose)}; only solids touch and overlap")
    if file.unshown:
        raise SetupError(
            f"{path.name} holds {file.unshown} more solids that no product of it shows; export it again"
        )
    found = []
    for one in file.solids:
        solid, at = taken_apart(one.solid)
        found.append(DrawnSolid(name=one.name, solid=solid, at=at, faces=one.faces))
    return found, Source(path=path.name, sha256=file.sha256)


def _bodies(found: Sequence[DrawnSolid], names: Sequence[str]) -> tuple[Body, ...]:
    wrong = Mistakes()
    made = wrong.each(
        zip(found, names, strict=True),
        lambda one: body(one[1], one[0].solid, at=one[0].at, named=one[0].faces),
    )
    wrong.raise_any()
    return made


def _printable(name: str) -> str:
    return "".join(c for c in name if c.isprintable()).strip()


_ORDER = (PairState.OVERLAP, PairState.TOUCH, PairState.CLEAR)


def _body_pairs(setup: Setup, placed: Mapping[str, Solid], contacts: ContactMap) -> tuple[BodyPair, ...]:
    """Return every pair of bodies that overlaps, touches or clears by no more than the near band.

    Parameters
    ----------
    placed : mapping of str to Solid
        Every body where it stands.
    contacts : ContactMap
        What touches, is near and overlaps.

    Returns
    -------
    tuple of BodyPair
        What overlaps first, then what touches, then what clears, each in the order of the bodies.
    """
    rank = {b.name: i for i, b in enumerate(setup.bodies)}
    between: dict[tuple[str, str], list[Patch]] = defaultdict(list)
    for patch in contacts.patches:
        between[_in_order(patch.bodies, rank)].append(patch)
    overlaps = {_in_order((o.a, o.b), rank): o for o in contacts.overlaps}
    budget = Budget(SEAT)
    found = [_overlapping(setup, placed, names, o, budget) for names, o in overlaps.items()]
    found += [
        _apart(placed, names, patches, setup.tolerances.touch_mm)
        for names, patches in between.items()
        if names not in overlaps
    ]
    return tuple(sorted(found, key=lambda p: (_ORDER.index(p.state), rank[p.a], rank[p.b])))


def _in_order(names: tuple[str, str], rank: Mapping[str, int]) -> tuple[str, str]:
    a, b = sorted(names, key=rank.__getitem__)
    return a, b


def _apart(
    placed: Mapping[str, Solid], names: tuple[str, str], patches: Sequence[Patch], touch_mm: float
) -> BodyPair:
    """Return a pair that touches, or that has a gap between it."""
    a, b = names
    touching = [p.contact for p in patches if p.contact.kind != ContactKind.NEAR]
    if touching:
        kinds = [c.kind for c in touching]
        largest = max(touching, key=lambda c: (c.area_mm2, c.length_mm))
        return BodyPair(
            a=a,
            b=b,
            state=PairState.TOUCH,
            area_mm2=sum(c.area_mm2 for c in touching),
            length_mm=sum(c.length_mm for c in touching),
            areas=kinds.count(ContactKind.AREA),
            lines=kinds.count(ContactKind.LINE),
            points=kinds.count(ContactKind.POINT),
            at_mm=largest.centroid,
        )
    pair = BodyPair(a=a, b=b, state=PairState.CLEAR, at_mm=patches[0].contact.centroid)
    try:
        gap_mm, here, there = distance(placed[a], placed[b])
    except KernelError as reason:
        return replace(pair, unknown=str(reason))
    if gap_mm <= touch_mm:
        return replace(pair, unknown="the two come within the touch tolerance where no contact was found")
    return replace(pair, gap_mm=gap_mm, at_mm=to_vector((here + there) / 2))


def _overlapping(
    setup: Setup, placed: Mapping[str, Solid], names: tuple[str, str], shared: Overlap, budget: Budget
) -> BodyPair:
    """Return a pair that shares space: how much, how deep, and the shortest straight way out."""
    # The smaller one is the one to move.
    a, b = names if volume_mm3(placed[names[0]]) <= volume_mm3(placed[names[1]]) else names[::-1]
    pair = BodyPair(
        a=a, b=b, state=PairState.OVERLAP, volume_mm3=shared.volume_mm3, at_mm=centroid_of(shared.common)
    )
    try:
        with spending(budget):
            spend(_READING)
            depth_mm = _depth_mm(placed[a], placed[b], shared)
            pair = replace(pair, depth_mm=depth_mm)
            moving, still = (setup.body(n).placed() for n in (a, b))
            way = shortest_parting([moving], still, (), shared.common, setup.tolerances)
    except (SpentError, KernelError) as reason:
        return replace(pair, unknown=str(reason))
    if way is None:
        return replace(pair, unknown="no straight move along an axis or across a face parts them")
    return replace(pair, parting_mm=way.by_mm, parting_way=to_vector(way.direction))


_READING = 20 * BOOLEAN
"""What reading a depth costs."""


def _depth_mm(a: Solid, b: Solid, shared: Overlap) -> float | None:
    """Return how deep one body reaches into another: the surface of either in the other, the lesser way."""
    reaches = [reach_mm(shared.common, *pair) for pair in ((a, b), (b, a))]
    return min((r for r in reaches if r is not None), default=None)


def _touched_by(pairs: Sequence[BodyPair], setup: Setup) -> dict[str, frozenset[str]]:
    """Return the bodies that each body touches."""

    def sides() -> Iterator[tuple[str, str]]:
        for pair in pairs:
            if pair.state is PairState.TOUCH:
                yield pair.a, pair.b
                yield pair.b, pair.a

    found: dict[str, set[str]] = {b.name: set() for b in setup.bodies}
    for one, other in sides():
        found[one].add(other)
    return {name: frozenset(others) for name, others in found.items()}


_SLACK_RAD = 1e-2
_STRAIGHT = 1e-6
"""A slide that closes no gap faster than this, in mm for each mm, closes none."""


def _free_bodies(
    setup: Setup, called: Mapping[str, str], touched: Mapping[str, frozenset[str]], overlap: frozenset[str]
) -> tuple[BodyFree, ...]:
    """Return what each body is free to do.

    Parameters
    ----------
    called : mapping of str to str
        What the user calls each body.
    touched : mapping of str to set of str
        The bodies that each one touches.
    overlap : frozenset of str
        Bodies that overlap others: where those would stop them is not known.
    """
    model = settling_model_of(setup)
    poses, touch_mm = model.drawn, setup.tolerances.touch_mm
    every = range(len(model.bodies))
    around = find_candidates(model.scene(every), poses.rotation, poses.origin_mm, LOOK_MM, _SLACK_RAD)
    found = []
    for i in every:
        name = model.bodies[i].name
        free = BodyFree(body=name, called=called[name], touches=len(touched[name]))
        if name in overlap:
            found.append(_unknown(free, "it overlaps another body, and what overlaps stops nothing"))
            continue
        mine = (around.body_a == i) | (around.body_b == i)
        rows = around.where(mine & (np.abs(around.gap_mm) <= touch_mm))
        if touched[name] and not len(rows.gap_mm):
            found.append(_unknown(free, "its contacts have no form that is followed"))
            continue
        centre = poses.apply(i, model.features[i].centre_mm)
        slopes = jacobian(rows, np.array([i]), centre[None])
        leaves = _leaves(slopes)
        scaled = slopes.copy()
        scaled[:, 3:] /= model.features[i].size_mm
        found.append(
            BodyFree(
                body=name,
                called=called[name],
                touches=len(touched[name]),
                keeps=freedoms_among(model, poses, (rows, around.where(mine)), i),
                leaves=leaves,
                shut_in=bool(len(rows.gap_mm)) and not leaves and opening_motion(scaled) is None,
            )
        )
    return tuple(found)


def _unknown(free: BodyFree, why: str) -> BodyFree:
    return BodyFree(body=free.body, called=free.called, touches=free.touches, unknown=why)


def _leaves(slopes: Floats) -> tuple[Vector, ...]:
    """Return the directions, along an axis or a contact's normal, in which a body moves straight away.

    Parameters
    ----------
    slopes : ndarray, shape (n, 6)
        How each gap that is closed changes with shift and turn of the body.

    Returns
    -------
    tuple of Vector
        Those that open a contact and close none; only those that open all contacts where there are any.
    """
    normals = slopes[:, :3]
    if not len(normals):
        return ()
    found: list[Floats] = []
    for way in (*np.vstack((np.eye(3), -np.eye(3))), *_each_once(normals)):
        if _opens(normals, way) and not any(float(way @ one) > 1.0 - _STRAIGHT for one in found):
            found.append(way)
    middle = normals.sum(axis=0)
    size = float(np.linalg.norm(middle))
    if not found and size > _STRAIGHT * len(normals) and _opens(normals, middle / size):
        found.append(middle / size)
    # A direction along which everything opens says more than one that still slides along something.
    clear = [way for way in found if float((normals @ way).min()) > _STRAIGHT]
    return tuple(to_vector(way + 0.0) for way in (clear or found)[:_MOST_WAYS])


def _opens(normals: Floats, way: Floats) -> bool:
    """Tell whether a straight move opens some contact and closes none."""
    rates = normals @ way
    return bool(rates.min() >= -_STRAIGHT and rates.max() > _STRAIGHT)


_MOST_WAYS = 3
_MOST_NORMALS = 24


def _each_once(normals: Floats) -> Floats:
    """Return the distinct normals; none of a round face, whose every normal is another."""
    each = np.unique(np.round(normals, 6) + 0.0, axis=0)
    return each if len(each) <= _MOST_NORMALS else np.zeros((0, 3))


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

    Returns
    -------
    Result

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
    pairs = _body_pairs(setup, placed, contacts)
    progress("freedoms", 0.8)
    overlap = frozenset(n for p in pairs if p.state is PairState.OVERLAP for n in (p.a, p.b))
    free = _free_bodies(setup, assembly.called, _touched_by(pairs, setup), overlap)
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
    for one in free:
        yield _of_body(one, placed[one.body], write)


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
