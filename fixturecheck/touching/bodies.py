"""The bodies of an assembly, out of a file or of what a script drew, under names that may be used."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.kernel.drawn import DrawnSolid, drawn_solids
from fixturecheck.kernel.place import taken_apart
from fixturecheck.kernel.step import faces_outside, read
from fixturecheck.names import distinct
from fixturecheck.result import Source
from fixturecheck.setup.make import body
from fixturecheck.setup.model import Body, Setup
from fixturecheck.tolerances import Tolerances

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
        message = f"{what} holds one solid; give an assembly of two or more to see what touches"
        raise SetupError(message)
    if len(found) > MOST_BODIES:
        message = (
            f"{what} holds {len(found)} solids; at most {MOST_BODIES} are compared, so give a part of it"
        )
        raise SetupError(message)
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
        message = f"{path.name} holds {faces_outside(file.loose)}; only solids touch and overlap"
        raise SetupError(message)
    if file.unshown:
        message = f"{path.name} holds {file.unshown} more solids that no product of it shows; export it again"
        raise SetupError(message)
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
