"""Which colour stands for what, in pictures, in setup.step and in the report."""

from __future__ import annotations

from fixturecheck.result import Finding, NamedShape, Role, Verdict

Rgb = tuple[int, int, int]

PARTS: tuple[Rgb, ...] = ((222, 196, 146), (205, 174, 118), (236, 214, 172), (190, 158, 104))
"""Neighbouring parts of a gang take these in turn, so that a seam between them shows."""

FIXTURES: tuple[Rgb, ...] = ((166, 180, 192), (140, 157, 172), (190, 201, 210), (124, 143, 160))

ROLES: dict[Role, Rgb] = {
    Role.PART: PARTS[0],
    Role.FIXTURE: FIXTURES[0],
    Role.POLE: (112, 128, 144),
    Role.WHEEL: (178, 116, 96),
    Role.TRAVEL: (134, 142, 86),
    Role.AREA: (38, 132, 110),
    Role.LINE: (28, 96, 168),
    Role.POINT: (92, 60, 160),
    Role.NEAR: (120, 176, 204),
    Role.OVERLAP: (196, 30, 58),
    Role.COLLISION: (214, 48, 38),
    Role.LEFTOVER: (230, 140, 20),
    Role.GOUGE: (170, 20, 110),
    Role.GROUND: (232, 224, 204),
    Role.REST: (64, 128, 168),
}

WORDS: dict[Role, str] = {
    Role.PART: "part",
    Role.FIXTURE: "holds the part",
    Role.POLE: "magnet pole",
    Role.WHEEL: "wheel",
    Role.TRAVEL: "room that the travel takes",
    Role.AREA: "touches over an area",
    Role.LINE: "touches along a line",
    Role.POINT: "touches at a point",
    Role.NEAR: "small gap",
    Role.OVERLAP: "bodies overlap",
    Role.COLLISION: "collision",
    Role.LEFTOVER: "stock left over",
    Role.GOUGE: "gouge",
    Role.GROUND: "part as ground",
    Role.REST: "part at rest",
}

SIGNS: dict[Verdict, str] = {
    Verdict.GO: "\u2713",
    Verdict.CAUTION: "\u25b2",
    Verdict.NO_GO: "\u2715",
    Verdict.UNKNOWN: "?",
}
"""A verdict is always its word and its sign; colour only helps."""


def verdict_words(finding: Finding) -> str:
    """Return a finding's verdict with its sign; where it was overruled, its check's own first."""
    if finding.overruled is None:
        return f"{SIGNS[finding.verdict]} {str(finding.verdict).upper()}"
    own = finding.overruled
    return f"{SIGNS[own]} {str(own).upper()}, counted as {str(finding.verdict).upper()}"


VERDICTS: dict[Verdict, Rgb] = {
    Verdict.GO: (24, 110, 82),
    Verdict.CAUTION: (150, 92, 0),
    Verdict.NO_GO: (176, 24, 44),
    Verdict.UNKNOWN: (84, 84, 108),
}


def body_colours(shapes: tuple[NamedShape, ...]) -> dict[str, Rgb]:
    """Return a colour for every shape: parts and fixtures take theirs in turn, the rest by role."""
    colours: dict[str, Rgb] = {}
    turns = {Role.PART: 0, Role.FIXTURE: 0}
    for shape in shapes:
        if shape.role in turns:
            palette = PARTS if shape.role is Role.PART else FIXTURES
            colours[shape.name] = palette[turns[shape.role] % len(palette)]
            turns[shape.role] += 1
        else:
            colours[shape.name] = ROLES[shape.role]
    return colours
