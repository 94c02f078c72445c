"""A proposed set-up as a TOML file that a person goes on with: values with reasons, guesses marked."""

from __future__ import annotations

import itertools
import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePath

import numpy as np
from scipy.spatial.transform import Rotation

from fixturecheck.arrays import Floats
from fixturecheck.setup.records import Seat
from fixturecheck.setup.schema import first_line
from fixturecheck.start.layout import Equipment, FirstSetup
from fixturecheck.start.part import point_on

STOCK_MM = 0.2
DOWNFEED_MM = 0.01
CROSS_FEED_MM = 2.0
"""What is left to grind, and how: common practice, no source."""

MATERIAL, FINISH = "steel_1018", "ground"

WHEEL_MM = 13.0
CORNER_MM = 0.2
"""Width and dressed corner of the straight wheel that is put on."""

_TURNS_DEG = (90, 180, -90, 45, -45, 135, -135)
_COMMENT_AT = 46


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """One key: its value, a remark, and whether it is a guess."""

    key: str
    value: object
    remark: str = ""
    guessed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """A table of the file.

    Parameters
    ----------
    header : str
        `[wheel]` or `[[cut]]`.
    path : str
        What its keys are called from outside, `cut.top`.
    remark : str
        What stands over it; empty for nothing.
    """

    header: str
    path: str
    lines: tuple[_Line, ...]
    remark: str = ""
    inner: tuple[_Table, ...] = field(default=())


def setup_text(proposal: FirstSetup, home: Path) -> str:
    """Return a proposed set-up as TOML; its first line names the schema that lies beside it.

    Parameters
    ----------
    home : Path
        The folder of the file, from which the part file is named.
    """
    tables = list(_tables(proposal, home))
    guessed = [f"{t.path}.{line.key}" for t in tables for line in t.lines if line.guessed]
    rows = [
        first_line(),
        f"# A first set-up for {proposal.part.file.name}, written by `fixturecheck new`. Lengths are in mm.",
        "# Z is up, X is the traverse of the table, Y the cross feed, positive toward the column.",
        "# What nobody stated is marked `# guessed` and listed here; take out what you have settled.",
        "",
        "[setup]",
        f"name = {_value(proposal.name)}",
        "guessed = [",
        *(f"    {_value(key)}," for key in guessed),
        "]",
    ]
    for table in tables:
        rows += ["", *_written(table)]
    return "\n".join([*rows, "", *_HOLDING, ""])


_HOLDING = (
    "# Does the magnet hold, where does a part go if it lets go, how do the parts come off? Take the # off",
    "# the next lines, state the pull that its maker rates the magnet at, and check again, for a minute.",
    "# [holding]",
    '# magnet = "full"',
    "# rated_pull_n_cm2 = 80.0",
)


def _tables(proposal: FirstSetup, home: Path) -> Iterator[_Table]:
    yield _Table(
        header="[wheel]",
        path="wheel",
        lines=(
            _Line(key="diameter_mm", value=178.0, remark="a straight wheel", guessed=True),
            _Line(key="thickness_mm", value=WHEEL_MM, guessed=True),
            _Line(key="corner_radius_mm", value=CORNER_MM, remark="as dressed", guessed=True),
        ),
    )
    for piece in proposal.equipment:
        yield _equipment(piece)
    for n, (name, _) in enumerate(proposal.places):
        yield from _body(proposal, n, name, home)
    rows = zip(proposal.seats, proposal.shares, strict=True)
    for n, (seat, share) in enumerate(rows, start=1):
        yield _seat(n, seat, share)
    yield _cut(proposal)
    yield _staging(proposal)


def _equipment(piece: Equipment) -> _Table:
    lines = [_Line(key="kind", value=piece.kind, guessed=True), _Line(key="name", value=piece.name)]
    if any(piece.at):
        lines.append(_Line(key="at", value=piece.at, guessed=True))
    if piece.params:
        lines.append(_Line(key="params", value=piece.params, guessed=True))
    return _Table(
        header="[[equipment]]", path=f"equipment.{piece.name}", lines=tuple(lines), remark=piece.why
    )


def _body(proposal: FirstSetup, n: int, name: str, home: Path) -> Iterator[_Table]:
    part, at = proposal.part, proposal.places[n][1]
    file = PurePath(os.path.relpath(part.file.absolute(), home.absolute())).as_posix()
    turns = turns_of(proposal.posed.turn)
    lines = [_Line(key="name", value=name), _Line(key="file", value=file)]
    if part.which is not None:
        lines.append(_Line(key="solid", value=part.which))
    lines.append(_Line(key="at", value=at, remark="where the origin of the drawing goes"))
    if turns:
        lines.append(_Line(key="rotate", value=turns, remark="about the machine's axes, in this order"))
    lines += [
        _Line(key="material", value=MATERIAL, remark="`fixturecheck shop materials`", guessed=True),
        _Line(key="finish", value=FINISH, remark="of every face", guessed=True),
    ]
    yield _Table(header="[[body]]", path=f"body.{name}", lines=tuple(lines))
    if proposal.faces:
        names = tuple(
            _Line(key=face, value=_reference(proposal, indices)) for face, indices in proposal.faces.items()
        )
        remark = "each by a point on it, in the part's own frame" if n == 0 else ""
        yield _Table(header="[body.faces]", path=f"body.{name}.faces", lines=names, remark=remark)


def _reference(proposal: FirstSetup, indices: Sequence[int]) -> object:
    points = [{"near": point_on(proposal.part.body.solid, i)} for i in indices]
    return points[0] if len(points) == 1 else points


def _seat(n: int, seat: Seat, share: float | None) -> _Table:
    lines = [_Line(key=key, value=getattr(seat, key)) for key in ("body", "face", "on", "on_face", "rank")]
    if share is not None:
        why = "the block touches part of it only"
        lines.append(_Line(key="min_share", value=share, remark=why, guessed=True))
    remark = "primary first: what each part is meant to lie on" if n == 1 else ""
    return _Table(header="[[seat]]", path=f"seat.{n}", lines=tuple(lines), remark=remark)


def _cut(proposal: FirstSetup) -> _Table:
    turn = proposal.posed.turn
    across = (proposal.posed.floor.corners @ turn.T)[:, 1]
    wide = float(across.max() - across.min())
    lines = [
        _Line(key="name", value="top"),
        _Line(key="parts", value=[name for name, _ in proposal.places]),
        _Line(key="floor", value=proposal.floor, remark="the face as finished", guessed=True),
    ]
    if proposal.wall:
        lines += [
            _Line(
                key="wall", value=proposal.wall, remark="the side of the wheel runs along it", guessed=True
            ),
            _Line(key="wall_stock_mm", value=0.0, remark="nothing is taken off it", guessed=True),
        ]
    lines.append(_Line(key="stock_mm", value=STOCK_MM, remark="left to grind", guessed=True))
    lines.append(_Line(key="downfeed_mm", value=DOWNFEED_MM, remark="each pass", guessed=True))
    if wide > WHEEL_MM - 2 * CORNER_MM:
        why = f"the floor is {wide:.4g} mm wide, the wheel {WHEEL_MM:g}"
        lines.append(_Line(key="way", value="traverse", remark=why))
        lines.append(_Line(key="cross_feed_mm", value=CROSS_FEED_MM, guessed=True))
    else:
        why = f"the wheel is wider than the floor, {wide:.4g} mm"
        lines.append(_Line(key="way", value="plunge", remark=why))
    return _Table(header="[[cut]]", path="cut.top", lines=tuple(lines))


def _staging(proposal: FirstSetup) -> _Table:
    push = {"*": {"direction": list(proposal.push)}}
    lines = [_Line(key="push", value=push, remark="by hand, onto the seats", guessed=True)]
    if len(proposal.places) > 1:
        lines.insert(0, _Line(key="order", value=list(proposal.order), guessed=True))
    return _Table(
        header="[staging]", path="staging", lines=tuple(lines), remark="how the parts are put in place"
    )


def _written(table: _Table) -> Iterator[str]:
    if table.remark:
        yield f"# {table.remark}"
    yield table.header
    for line in table.lines:
        row = f"{line.key} = {_value(line.value)}"
        words = ("guessed" + (f": {line.remark}" if line.remark else "")) if line.guessed else line.remark
        yield f"{row:<{_COMMENT_AT}}  # {words}" if words else row


def _value(value: object) -> str:
    """Write a value as TOML."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{text}"'
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return _digits(value)
    if isinstance(value, Mapping):
        inside = ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items())
        return f"{{ {inside} }}"
    if isinstance(value, Sequence):
        return f"[{', '.join(map(_value, value))}]"
    message = f"a {type(value).__name__} has no place in a set-up"
    raise TypeError(message)


def _key(key: object) -> str:
    text = str(key)
    return text if text.replace("_", "").replace("-", "").isalnum() else f'"{text}"'


def _digits(number: float) -> str:
    """Write a number in as few digits as hold it to a picometre."""
    return repr(round(float(number), 9) + 0.0)


def turns_of(turn: Floats) -> list[list[object]]:
    """Return turns about the machine's axes that make a rotation; one about a slanted axis where no few do.

    Parameters
    ----------
    turn : ndarray, shape (3, 3)
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
