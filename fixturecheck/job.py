"""Whole commands from file to folder, as the command line runs them in a process of their own."""

from __future__ import annotations

import tempfile
import textwrap
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fixturecheck.kernel.mesh.triangles import Tessellator
from fixturecheck.kernel.place import matrix_of, placed_at
from fixturecheck.magnet.calibration import MODEL_SHARE, SHIM_SHARE, Calibration, Row, calibrate
from fixturecheck.relief.apply import export, relief_summary, taken_words
from fixturecheck.relief.clashes import clashes_of
from fixturecheck.relief.model import Relief, Reliefs, size_words
from fixturecheck.relief.search import relieve
from fixturecheck.report.folder import PICTURES, RELIEF_PAGE, scratch, written
from fixturecheck.report.pictures.draw import Drawn, Painter, write_scenes
from fixturecheck.report.relief_page import Across, ReliefShown, relief_page, relief_scenes, whole_scene
from fixturecheck.result import NamedShape, Role
from fixturecheck.setup.chuck_file import chuck_text
from fixturecheck.setup.load import load
from fixturecheck.setup.measurement_file import Measured, measured_in_file
from fixturecheck.setup.model import Setup
from fixturecheck.units import Writing

if TYPE_CHECKING:
    from fixturecheck.result import Result
    from fixturecheck.setup.model import Setup


Progress = Callable[[str, float], None]
Tell = Callable[[list[str]], None]

_LOADED, _CHECKED = 0.25, 0.75


def run(
    setup_path: str,
    overrides: Mapping[str, str],
    folder: str,
    pictures: bool,
    only: tuple[str, ...] | None,
    skip: tuple[str, ...],
    width: int,
    *,
    progress: Progress,
    tell: Tell,
) -> tuple[str, str, str | None]:
    """Load a set-up, check it, write everything.

    Parameters
    ----------
    folder : str
        An empty folder to write into.
    pictures : bool
        Whether to draw.
    only, skip : tuple of str
        Checks to ask, None for all, and checks to leave out.
    width : int
        Columns of the terminal.
    tell : callable
        Called with lines about what has been found, as soon as it has.

    Returns
    -------
    tuple of str
        The verdict, the table for the terminal, and why pictures are missing (None if none is).

    Raises
    ------
    FixturecheckError
        The set-up is wrong, the kernel failed, or the result could not be written.
    """
    # The drawing process loads its own libraries while this one loads the kernel.
    painter = Painter() if pictures else None
    try:
        with scratch(Path(folder)):
            progress("load the kernel", 0.02)
            from fixturecheck.report.terminal import table  # noqa: PLC0415 -- the painter starts first
            from fixturecheck.report.write import write_all  # noqa: PLC0415 -- the painter starts first
            from fixturecheck.setup.load import load  # noqa: PLC0415 -- the painter starts first

            progress(f"read {Path(setup_path).name}", 0.15)
            setup = load(setup_path, overrides)
            result = _checked(setup, only, skip, progress, tell)
            with written(Path(folder)):
                trouble = write_all(
                    Path(folder),
                    result,
                    setup,
                    painter=painter,
                    progress=lambda doing, share: progress(f"write {doing}", _between(_CHECKED, 1.0, share)),
                )
            return str(result.verdict), table(result, width=width), trouble
    finally:
        if painter is not None:
            painter.stop()


def _checked(
    setup: Setup, only: tuple[str, ...] | None, skip: tuple[str, ...], progress: Progress, tell: Tell
) -> Result:
    """Check a set-up, and tell what is found as soon as it is."""
    from fixturecheck.engine import check  # noqa: PLC0415 -- the painter starts first
    from fixturecheck.report.terminal import SoFar  # noqa: PLC0415 -- the painter starts first

    so_far = SoFar(tell)

    def step(doing: str, share: float) -> None:
        so_far.end()
        progress(doing, _between(_LOADED, _CHECKED, share))

    return check(
        setup,
        only=only,
        skip=skip,
        progress=step,
        found=so_far.found,
    )


def _between(low: float, high: float, share: float) -> float:
    return low + (high - low) * share


def run_relief(
    setup_path: str, overrides: Mapping[str, str], folder: str, *, progress: Progress
) -> tuple[bool, str]:
    """Load a set-up, relieve it, write the changed parts and a page with each before and after.

    Returns
    -------
    tuple
        Whether nothing is left in the way, and what was found, for the terminal.

    Raises
    ------
    FixturecheckError
        The set-up is wrong, or something could not be computed.
    """
    with scratch(Path(folder)):
        progress(f"read {Path(setup_path).name}", 0.05)
        setup = load(setup_path, overrides)
        progress("look for reliefs", 0.2)
        found = relieve(setup)
        progress("write", 0.8)
        text = relief_summary(found)
        with written(Path(folder)):
            export(found, Path(folder))
            drawn = _page(setup, found, Path(folder))
    if drawn.trouble:
        text += f"\n\npictures could not all be drawn: {drawn.trouble}"
    done = found.cured and (found.rest_after is None or found.rest_after.rests)
    return done, text


def _page(setup: Setup, found: Reliefs, folder: Path) -> Drawn:
    """Draw each relief before and after, and write the page."""
    drawn = (
        _pictures(setup, found, folder / PICTURES)
        if found.reliefs
        else Drawn(files=frozenset(), trouble=None)
    )
    pictures = {name: (folder / PICTURES / name).read_bytes() for name in sorted(drawn.files)}
    told_reliefs = [
        ReliefShown(
            says=r.says,
            lines=_lines(r, setup.write),
            before=f"{n:02d}_before.png",
            after=f"{n:02d}_after.png",
        )
        for n, r in enumerate(found.reliefs, start=1)
    ]
    refused = [
        (f"{r.clash}: {r.gives}.", (*r.why, *((f"would do {r.marks}",) if r.marks else ())))
        for r in found.refused
    ]
    page = relief_page(setup.name, told_reliefs, refused, pictures, found.missing)
    (folder / RELIEF_PAGE).write_text(page, encoding="utf-8")
    return drawn


def _lines(relief: Relief, write: Writing) -> tuple[str, ...]:
    return (
        f"clears {relief.clears}",
        f"takes material from {', '.join(relief.touches)}; thinnest wall behind it "
        f"{write.length(relief.wall_mm, '.2f')}",
        f"code{'' if write.units == 'mm' else ', in mm'}: {relief.line}",
        f"takes {taken_words(relief)}",
        *relief.notes,
        *(f"or: {other}" for other in relief.instead),
        *((f"less would do {relief.marks}",) if relief.marks else ()),
        *(f"does not hold: {why}" for why in relief.rejected),
    )


def _pictures(setup: Setup, found: Reliefs, folder: Path) -> Drawn:
    """Draw the section across each relief's edge, before and after."""
    before, after = _shapes(setup, "before"), _shapes(found.setup, "after")
    before += [
        NamedShape(name=f"overlap {n}", role=Role.OVERLAP, geometry=c.zone, bodies=(c.a, c.b))
        for n, c in enumerate(clashes_of(setup), start=1)
    ]
    worker = Tessellator()
    every = [*before, *after]
    meshes = {s.name: worker.mesh(s.geometry) for s in every}
    points = np.vstack([meshes[s.name].all_points_mm() for s in before])
    scenes = [whole_scene(setup.name, before, points)]
    for n, relief in enumerate(found.reliefs, start=1):
        sides = ((f"{n:02d}_before.png", before), (f"{n:02d}_after.png", after))
        scenes += relief_scenes(_across(setup, relief), sides, meshes, setup.shown_in)
    painter = Painter()
    try:
        with tempfile.TemporaryDirectory() as home:
            painter.begin(write_scenes(Path(home), folder, scenes, (every, meshes)))
            return painter.finish()
    finally:
        painter.stop()


def _shapes(setup: Setup, when: str) -> list[NamedShape]:
    return [
        NamedShape(
            name=f"{b.name} {when}",
            role=Role.PART if b.role == "part" else Role.FIXTURE,
            geometry=placed_at(b.solid, b.at),
            bodies=(b.name,),
        )
        for b in setup.bodies
    ]


def _across(setup: Setup, relief: Relief) -> Across:
    """Return where a relief is looked at: on the copy that clashes, in the machine's frame."""
    place = matrix_of(setup.body(relief.on).at)
    middle = place[:3, :3] @ np.array(relief.at_mm) + place[:3, 3]
    clash = place[:3, :3] @ np.array(relief.clash_at_mm) + place[:3, 3]
    along = place[:3, :3] @ np.array(relief.along)
    often = f"lands in {relief.share_lands:.1%} of draws"
    return Across(
        at_mm=middle,
        clash_at_mm=clash,
        ring_mm=0.65 * relief.clash_size_mm,
        along=along,
        size_mm=max(relief.size_mm),
        says=size_words(relief.kind, relief.size_mm, relief.slope_deg, setup.write),
        before="in the way" if relief.share_lands == 1.0 else often,
    )


_WIDE = 100

_CARE = (
    "a pull on a scale is no proof of a hold, and steel lets go of a magnet all at once. Keep hands and face "
    "out of the way of piece and scale, wear eye protection, never stand in line with the pull, and have the "
    "wheel stopped and the spindle locked out. Measure again when the chuck was ground, dropped or heated. "
    "Local rules and trained people decide."
)


def run_calibration(path: str, *, progress: Progress) -> tuple[str, str]:
    """Read measurements, find every magnet that fits them, and return the chuck file and what to say.

    Returns
    -------
    tuple
        The text of the chuck file, and what was found, for the terminal.

    Raises
    ------
    FixturecheckError
        A measurement is wrong or contradicts another, or a field could not be solved.
    """
    measured = measured_in_file(Path(path))
    found = calibrate(measured, progress=progress)
    readings = tuple(
        {
            "name": row.measurement.name,
            "measured_n": row.pull_n,
            "fitted_n": row.fitted_n,
        }
        for row in found.rows
    )
    says = (
        f"A magnetic chuck as measured; written by `fixturecheck calibrate` from {measured.file}.",
        'A set-up takes it with: [holding], calibrated = "this file", magnet = "full".',
    )
    return chuck_text(found.chuck, says, readings), "\n".join(_told(measured, found))


def _told(measured: Measured, found: Calibration) -> list[str]:
    write, fit = measured.write, found.fit
    wide = max((len(row.measurement.name) for row in found.rows), default=0)
    lines = [f"{found.chuck.name}: {len(found.rows)} measurements, all of one magnet", ""]
    lines += [_row(row, wide, write) for row in found.rows]
    gaps = " to ".join(write.length(g, ".3g") for g in fit.gap_mm)
    seats = " to ".join(write.gap(g, ".3g") for g in fit.seat_um)
    lines += [
        "",
        f"source gap behind the poles: {gaps}",
        f"magnetomotive force: {fit.mmf_a[0]:.0f} to {fit.mmf_a[1]:.0f} A",
        f"seat of a {measured.head.finish.replace('_', ' ')} piece: {seats}",
        "every magnet between these that gives all readings counts, each within its reading and the",
        f"error of the field: {MODEL_SHARE:.0%}, and over a shim up to {SHIM_SHARE:.0%} too high",
    ]
    if not fit.gap_bounded[0]:
        lines.append(
            "the readings do not tell how stiff the magnet may be; measure a piece over more poles, and the "
            "small one better"
        )
    if not fit.gap_bounded[1]:
        lines.append("the readings do not tell how soft the magnet may be; measure a piece over more poles")
    return [*lines, "", *textwrap.wrap(_CARE, _WIDE)]


def _row(row: Row, wide: int, write: Writing) -> str:
    low, high = (write.number(v, "N", ".4g") for v in row.pull_n)
    fitted = write.force(row.fitted_n, ".4g")
    return f"  {row.measurement.name:<{wide}}  pull {low} to {high}, fitted {fitted}"
