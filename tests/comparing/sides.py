"""Small results for comparisons, put together by hand."""

from __future__ import annotations

from fixturecheck.result.finding import (
    Finding,
    Kind,
    judge,
    worst,
)
from fixturecheck.result.grouping import identified
from fixturecheck.result.shapes import BodyDrawn, FaceDrawn
from fixturecheck.result.stored import SCHEMA_VERSION, StoredResult

WAYS = {
    "right": (1.0, 0.0, 0.0), "left": (-1.0, 0.0, 0.0), "back": (0.0, 1.0, 0.0), "front": (0.0, -1.0, 0.0),
    "top": (0.0, 0.0, 1.0), "bottom": (0.0, 0.0, -1.0),
}  # fmt: skip


def box(name: str, size=(20.0, 10.0, 5.0), at=(0.0, 0.0, 0.0), role="part", called=WAYS) -> BodyDrawn:
    """A box with one corner at the origin of its frame, its faces called by the way they look."""
    called = dict(zip(WAYS, called, strict=True))
    faces = []
    for way, normal in WAYS.items():
        axis = next(i for i in range(3) if normal[i])
        centre = [s / 2 for s in size]
        centre[axis] = size[axis] if normal[axis] > 0 else 0.0
        area = size[(axis + 1) % 3] * size[(axis + 2) % 3]
        faces.append(
            FaceDrawn(name=called[way], kind="plane", area_mm2=area, centre_mm=tuple(centre), normal=normal)
        )
    matrix = (1.0, 0.0, 0.0, at[0], 0.0, 1.0, 0.0, at[1], 0.0, 0.0, 1.0, at[2])
    return BodyDrawn(
        name=name, role=role, volume_mm3=size[0] * size[1] * size[2], size_mm=size, at=matrix,
        centre_mm=tuple(a + s / 2 for a, s in zip(at, size, strict=True)), faces=tuple(faces),
    )  # fmt: skip


def opening(body: str, other: str, gap_mm: float) -> Finding:
    """A nest that is open by so much; closed where that is nothing."""
    return judge(
        gap_mm, unit="mm", at_most=0.001, check="nest", subject=f"{body} on {other}", says="So.",
        kind=Kind.OPEN if gap_mm > 0.001 else Kind.MEETS, about=(f"{body}.left", f"{other}.right"),
    )  # fmt: skip


PAIR = (box("a"), box("b", at=(20.0, 0.0, 0.0)))


def side(*findings: Finding, bodies=PAIR, called="x", **more) -> StoredResult:
    told = {
        "path": called,
        "schema": SCHEMA_VERSION,
        "file": "two.toml",
        "sources": (),
        "name": "two blocks",
        "units": "mm",
        "not_asked": (),
        "stated": (),
        "bodies": tuple(bodies),
        "verdict": worst([f.verdict for f in findings]),
        "findings": identified(findings),
    }
    return StoredResult(**{**told, **more})
