"""A proposed set-up as a TOML file that a person goes on with: values with reasons, guesses marked."""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path, PurePath

import numpy as np
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats
from fixturecheck.errors import SetupError
from fixturecheck.kernel.place import matrix_of
from fixturecheck.kernel.shapes import Solid
from fixturecheck.setup.document import document_of
from fixturecheck.setup.load import setup_of_text
from fixturecheck.setup.records import BodyRole, Machine, Rank, Seat
from fixturecheck.setup.schema import first_line
from fixturecheck.setup.text import read_facts
from fixturecheck.start.assembly import FromAssembly, body_lines
from fixturecheck.start.layout import (
    Equipment,
    FirstSetup,
    TomlLine,
    TomlTable,
    guesses_in,
    toml_rows,
    value_text,
)
from fixturecheck.start.part import point_on

STOCK_MM = 0.2
DOWNFEED_MM = 0.01
CROSS_FEED_MM = 2.0
"""What is left to grind, and how: common practice, no source."""

MATERIAL, FINISH = "steel_1018", "ground"

WHEEL_MM = 13.0
CORNER_MM = 0.2
"""Width and dressed corner of the straight wheel that is put on."""

SAME_PLACE_MM = 1e-6
"""Parts that stand this close to where they are meant to stand there."""

_TURNS_DEG = (90, 180, -90, 45, -45, 135, -135)


def first_setup_text(proposal: FirstSetup, home: Path) -> str:
    """Return a proposed set-up as TOML; its first line names the schema that lies beside it.

    Parts are placed by their seats where these put them where they are meant to stand; else by coordinates.

    Parameters
    ----------
    proposal : FirstSetup
        What is proposed for one part.
    home : Path
        The folder of the file, from which the part file is named.

    Returns
    -------
    str
        The whole file; what nobody stated is marked and listed as guessed.
    """
    by_seats = _text(proposal, home, list(_parts_by_seats(proposal, home)), _gang_of(proposal))
    if _stands_as_meant(by_seats, proposal, home):
        return by_seats
    parts = [table for n, (name, _) in enumerate(proposal.places) for table in _body(proposal, n, name, home)]
    rows = zip(proposal.seats, proposal.shares, strict=True)
    parts += [_seat(n, seat, share) for n, (seat, share) in enumerate(rows, start=1)]
    return _text(proposal, home, parts, tuple(name for name, _ in proposal.places))


def _text(proposal: FirstSetup, home: Path, parts: Sequence[TomlTable], names: Sequence[str]) -> str:
    """Return the file whose parts and seats are stated by some tables, and called by some names."""
    turn = proposal.posed.turn
    across = (proposal.posed.floor.corners @ turn.T)[:, 1]
    cut = _cut(proposal.floor, proposal.wall, float(across.max() - across.min()), names)
    tables = [
        *_machine(proposal),
        _wheel(),
        *map(_equipment, proposal.equipment),
        *parts,
        cut,
        _staging(proposal, names),
    ]
    in_vise = any(piece.kind == "grinding_vise" for piece in proposal.equipment)
    held = _clamped(proposal) if in_vise else _MAGNET
    return _file(proposal.part.file.name, proposal.name, tables, (*_ASKS, *held))


def _file(of: str, name: str, tables: Sequence[TomlTable], end: Sequence[str]) -> str:
    """Return the text of a file: its head, its tables and what stands at its end."""
    rows = [
        first_line(),
        f"# A first set-up for {of}, written by `fixturecheck new`. Lengths are in mm.",
        "# Z is up, X is the traverse of the table, Y the cross feed, positive toward the column.",
        "# What nobody stated is marked `# guessed` and listed here; take out what you have settled.",
        "",
        "[setup]",
        f"name = {value_text(name)}",
        "guessed = [",
        *(f"    {value_text(key)}," for table in tables for key in guesses_in(table)),
        "]",
    ]
    for table in tables:
        rows += ["", *toml_rows(table)]
    return "\n".join([*rows, "", *end, ""])


def assembly_text(found: FromAssembly, home: Path) -> str:
    """Return the set-up of an assembly as TOML; its first line names the schema that lies beside it.

    Parameters
    ----------
    found : FromAssembly
    home : Path
        The folder of the file, from which the assembly's file is named.

    Returns
    -------
    str
        The whole file; what nobody stated is marked and listed as guessed.
    """
    names = [g.body.name for g in found.bodies if g.body.role == BodyRole.PART]
    tables = [_wheel()]
    for given in found.bodies:
        name = given.body.name
        lines = (*body_lines(given, _file_from(home, found.file)), *_made_of())
        tables.append(TomlTable(header="[[body]]", path=f"body.{name}", lines=lines))
        if given.faces:
            points = tuple(
                TomlLine(key=face, value=_reference(given.body.solid, indices))
                for face, indices in given.faces.items()
            )
            tables.append(TomlTable(header="[body.faces]", path=f"body.{name}.faces", lines=points))
    rows = zip(found.seats, found.shares, strict=True)
    tables += [_seat(n, seat, share, ranked=True) for n, (seat, share) in enumerate(rows, start=1)]
    tables.append(_cut(found.floor, found.wall, found.wide_mm, names))
    name = f"{', '.join(names) if len(names) < 3 else f'{names[0]} to {names[-1]}'}, as assembled"
    return _file(found.file.name, name, tables, _HOLD_ASSEMBLED)


_HOLD_ASSEMBLED = (
    "# What holds the parts is stated as `[holding]`: a vise, clamps, or a magnet whose pole pieces are",
    '# bodies with pole = "n" or "s". `fixturecheck explain holding` tells more.',
)


def _gang_of(proposal: FirstSetup) -> tuple[str]:
    """Return the one name that stands for all copies of the part."""
    return (proposal.part.name,)


def _stands_as_meant(text: str, proposal: FirstSetup, home: Path) -> bool:
    """Tell whether every part of a set-up as written stands where it is proposed to."""
    try:
        stated = read_facts(document_of("setup.toml", text), home / "setup.toml")
        found = setup_of_text(stated, home, sources=lambda _bodies, _files: ())
    except SetupError:
        return False
    turn = proposal.posed.turn
    for name, at in proposal.places:
        meant = np.column_stack([turn, at])
        if np.abs(matrix_of(found.body(name).at)[:3] - meant).max() > SAME_PLACE_MM:
            return False
    return True


_ASKS = (
    "# Does it hold, where does a part go if it lets go, how do the parts come off? Take the # off the next",
    "# lines, state what they say, and check again, for a minute.",
)
_MAGNET = (
    "# [holding]",
    '# magnet = "full"',
    "# rated_pull_n_cm2 = 80.0                    # as its maker rates the magnet",
)


def _clamped(proposal: FirstSetup) -> tuple[str, ...]:
    """Return what holds a part in a vise, and its milling, as lines to be taken up."""
    return (
        "# [holding]",
        '# friction = "ground_steel"',
        "# [[clamp]]",
        '# name = "screw"',
        '# kind = "vise"',
        '# body = "vise_jaw"',
        '# face = "moving_jaw"',
        "# torque_nm = 12.0                           # on the handle",
        "# To mill the top in place of grinding it, take out [[cut]], and state the cutter:",
        "# [[mill]]",
        '# name = "top"',
        f"# parts = [{', '.join(value_text(name) for name, _ in proposal.places)}]",
        f"# face = {value_text(proposal.floor)}",
        "# cutter_mm = 16.0",
        "# teeth = 4",
        "# deep_mm = 0.5",
        "# wide_mm = 8.0",
        "# feed_mm_tooth = 0.05",
    )


def _machine(proposal: FirstSetup) -> Iterator[TomlTable]:
    """Yield the travels of a machine that takes the equipment, where the usual one does not."""
    usual, over_mm = Machine(), 150.0
    for piece in proposal.equipment:
        length, width = piece.params.get("length_mm"), piece.params.get("width_mm")
        if (
            piece.kind != "flat_magnetic_chuck"
            or not isinstance(length, float)
            or not isinstance(width, float)
        ):
            continue
        lines = (
            TomlLine(key="travel_x_mm", value=max(usual.travel_x_mm, length + over_mm), guessed=True),
            TomlLine(key="travel_y_mm", value=max(usual.travel_y_mm, width), guessed=True),
        )
        remark = f"a machine that takes a chuck of {length:g} x {width:g} mm"
        yield TomlTable(header="[machine]", path="machine", lines=lines, remark=remark)


def _wheel() -> TomlTable:
    return TomlTable(
        header="[wheel]",
        path="wheel",
        lines=(
            TomlLine(key="diameter_mm", value=178.0, remark="a straight wheel", guessed=True),
            TomlLine(key="thickness_mm", value=WHEEL_MM, guessed=True),
            TomlLine(key="corner_radius_mm", value=CORNER_MM, remark="as dressed", guessed=True),
        ),
    )


def _parts_by_seats(proposal: FirstSetup, home: Path) -> Iterator[TomlTable]:
    """Yield the parts in one table with their seats, and the seats that not all of them share."""
    rows = list(zip(proposal.seats, proposal.shares, strict=True))
    (first, _), count = proposal.places[0], len(proposal.places)
    own = [(seat, share) for seat, share in rows if seat.body == first]
    lines = [TomlLine(key="name", value=proposal.part.name)]
    if count > 1:
        lines.append(TomlLine(key="count", value=count))
        lines += _row_lines(proposal, [seat for seat, _ in own])
    values: list[Mapping[str, object]] = []
    for seat, share in own:
        stated = {"face": seat.face, "on": seat.on, "on_face": seat.on_face, "rank": seat.rank}
        values.append(stated if share is None else {**stated, "min_share": share})
    lines += _drawn(proposal, home)
    lines.append(
        TomlLine(
            key="seats",
            value=values,
            beside=tuple("" if share is None else f"guessed: {_PART_OF_IT}" for _, share in own),
            guessed_inside=tuple(f"{n}.min_share" for n, (_, s) in enumerate(own, start=1) if s is not None),
        )
    )
    remark = "placed by its seats, primary first" if count == 1 else "placed by their seats, primary first"
    yield TomlTable(header="[[body]]", path=f"body.{proposal.part.name}", lines=tuple(lines), remark=remark)
    yield from _faces(proposal, proposal.part.name, remarked=True)
    others = [(s, share) for s, share in rows if s.body != first and s.rank == Rank.STOP]
    yield from (_seat(n, seat, share, remarked=False) for n, (seat, share) in enumerate(others, start=1))


def _row_lines(proposal: FirstSetup, own: Sequence[Seat]) -> list[TomlLine]:
    """Return what says where each next part of a row stands."""
    second = proposal.places[1][0]
    nest = next((s for s in proposal.seats if s.body == second and s.rank == Rank.NEST), None)
    if nest is None:
        pitch = abs(proposal.places[1][1][0] - proposal.places[0][1][0])
        return [TomlLine(key="pitch_mm", value=pitch, remark="from one to the next", guessed=True)]
    stop = next((s for s in own if s.rank == Rank.STOP), None)
    if stop is None or stop.face != nest.face:
        return []
    why = f"{nest.face} of each next one lands on {nest.on_face} of the one before"
    return [TomlLine(key="against", value=nest.on_face, remark=why)]


def _equipment(piece: Equipment) -> TomlTable:
    lines = [TomlLine(key="kind", value=piece.kind, guessed=True), TomlLine(key="name", value=piece.name)]
    if any(piece.at):
        lines.append(TomlLine(key="at", value=piece.at, guessed=True))
    if piece.params:
        lines.append(TomlLine(key="params", value=piece.params, guessed=True))
    return TomlTable(
        header="[[equipment]]", path=f"equipment.{piece.name}", lines=tuple(lines), remark=piece.why
    )


def _body(proposal: FirstSetup, n: int, name: str, home: Path) -> Iterator[TomlTable]:
    lines = [TomlLine(key="name", value=name)]
    lines.append(
        TomlLine(key="at", value=proposal.places[n][1], remark="where the origin of the drawing goes")
    )
    lines += _drawn(proposal, home)
    yield TomlTable(header="[[body]]", path=f"body.{name}", lines=tuple(lines))
    yield from _faces(proposal, name, remarked=n == 0)


def _drawn(proposal: FirstSetup, home: Path) -> Iterator[TomlLine]:
    """Yield where the part is drawn, how it is turned, and what it is of."""
    part = proposal.part
    yield TomlLine(key="file", value=_file_from(home, part.file))
    turns = turns_of(proposal.posed.turn)
    if turns:
        yield TomlLine(key="rotate", value=turns, remark="about the machine's axes, in this order")
    yield from _made_of()


def _made_of() -> Iterator[TomlLine]:
    yield TomlLine(key="material", value=MATERIAL, remark="`fixturecheck shop materials`", guessed=True)
    yield TomlLine(key="finish", value=FINISH, remark="of every face", guessed=True)


def _file_from(home: Path, file: Path) -> str:
    return PurePath(os.path.relpath(file.absolute(), home.absolute())).as_posix()


def _faces(proposal: FirstSetup, name: str, *, remarked: bool) -> Iterator[TomlTable]:
    """Yield the table of the names that the part's file does not give to its faces."""
    if proposal.faces:
        lines = tuple(
            TomlLine(key=face, value=_reference(proposal.part.body.solid, indices))
            for face, indices in proposal.faces.items()
        )
        remark = "each by a point on it, in the part's own frame" if remarked else ""
        yield TomlTable(header="[body.faces]", path=f"body.{name}.faces", lines=lines, remark=remark)


def _reference(solid: Solid, indices: Sequence[int]) -> object:
    points = [{"near": point_on(solid, i)} for i in indices]
    return points[0] if len(points) == 1 else points


_PART_OF_IT = "the block touches part of it only"


def _seat(
    n: int, seat: Seat, share: float | None, *, remarked: bool = True, ranked: bool = False
) -> TomlTable:
    """Return the table of a seat; `ranked` marks its rank as a guess."""
    lines = [TomlLine(key=key, value=getattr(seat, key)) for key in ("body", "face", "on", "on_face")]
    lines.append(TomlLine(key="rank", value=str(seat.rank), guessed=ranked))
    if share is not None:
        lines.append(TomlLine(key="min_share", value=share, remark=_PART_OF_IT, guessed=True))
    remark = "primary first: what each part is meant to lie on" if remarked and n == 1 else ""
    return TomlTable(header="[[seat]]", path=f"seat.{n}", lines=tuple(lines), remark=remark)


def _cut(floor: str, wall: str | None, wide_mm: float, names: Sequence[str]) -> TomlTable:
    lines = [
        TomlLine(key="name", value="top"),
        TomlLine(key="parts", value=list(names)),
        TomlLine(key="floor", value=floor, remark="the face as finished", guessed=True),
    ]
    if wall:
        lines += [
            TomlLine(key="wall", value=wall, remark="the side of the wheel runs along it", guessed=True),
            TomlLine(key="wall_stock_mm", value=0.0, remark="nothing is taken off it", guessed=True),
        ]
    lines.append(TomlLine(key="stock_mm", value=STOCK_MM, remark="left to grind", guessed=True))
    lines.append(TomlLine(key="downfeed_mm", value=DOWNFEED_MM, remark="each pass", guessed=True))
    if wide_mm > WHEEL_MM - 2 * CORNER_MM:
        why = f"the floor is {wide_mm:.4g} mm wide, the wheel {WHEEL_MM:g}"
        lines.append(TomlLine(key="way", value="traverse", remark=why))
        lines.append(TomlLine(key="cross_feed_mm", value=CROSS_FEED_MM, guessed=True))
    else:
        why = f"the wheel is wider than the floor, {wide_mm:.4g} mm"
        lines.append(TomlLine(key="way", value="plunge", remark=why))
    return TomlTable(header="[[cut]]", path="cut.top", lines=tuple(lines))


def _staging(proposal: FirstSetup, names: Sequence[str]) -> TomlTable:
    hand: dict[str, object] = {"direction": list(proposal.push)}
    remark = "by hand, onto the seats"
    if proposal.push_at is not None:
        hand["at_mm"] = proposal.push_at
        remark += ", where it turns nothing"
    lines = [TomlLine(key="push", value={"*": hand}, remark=remark, guessed=True)]
    if not any(proposal.push):
        lines = []
    if len(proposal.places) > 1:
        lines.insert(0, TomlLine(key="order", value=list(names), guessed=True))
    return TomlTable(
        header="[staging]", path="staging", lines=tuple(lines), remark="how the parts are put in place"
    )


def turns_of(turn: Floats) -> list[list[object]]:
    """Return turns about the machine's axes that make a rotation; one about a slanted axis where no few do.

    Parameters
    ----------
    turn : ndarray, shape (3, 3)

    Returns
    -------
    list of [axis, degrees]
        The axis is a letter, or three numbers where it is slanted; empty where nothing turns.
    """
    if np.allclose(turn, np.eye(3), atol=1e-9):
        return []
    single = [(axis, deg) for axis in "xyz" for deg in _TURNS_DEG]
    for count in (1, 2):
        for tried in itertools.product(single, repeat=count):
            product = np.eye(3)
            for axis, deg in tried:
                product = _about(axis, deg) @ product
            if np.allclose(product, turn, atol=1e-9):
                return [[axis, deg] for axis, deg in tried]
    slanted, angle_deg = _axis_of(turn)
    return [[[float(v) for v in slanted], angle_deg]]


def _about(axis: str, deg: float) -> Floats:
    k = "xyz".index(axis)
    cos, sin = np.cos(np.radians(deg)), np.sin(np.radians(deg))
    made = np.eye(3)
    i, j = (k + 1) % 3, (k + 2) % 3
    made[i, i], made[i, j], made[j, i], made[j, j] = cos, -sin, sin, cos
    return made


def _axis_of(turn: Floats) -> tuple[Floats, float]:
    """Return axis and angle of a rotation, degrees."""
    vector = Rotation.from_matrix(turn).as_rotvec()
    angle = float(np.linalg.norm(vector))
    return vector / angle, float(np.degrees(angle))
