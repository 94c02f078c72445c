"""A job held against another: its operations' results as one, in which everything says of which it is."""

from __future__ import annotations

import posixpath
from collections.abc import Sequence
from dataclasses import replace

from fixturecheck.faceref import FaceRef
from fixturecheck.result.finding import Origin
from fixturecheck.result.stored import StoredResult, called_in


def of_operation(number: int, result: StoredResult, setup: str) -> StoredResult:
    """Return the result of an operation as a part of its job's.

    Parameters
    ----------
    number : int
        Stands before the names of bodies and cuts.
    setup : str
        The set-up's file from the job's folder, from where findings then say what file they come from.
    """

    def from_job(origin: Origin | None) -> Origin | None:
        return origin and replace(origin, file=posixpath.normpath(posixpath.join(folder, origin.file)))

    folder = posixpath.dirname(setup)

    def face(name: str) -> str:
        ref = FaceRef(name)
        return FaceRef.of(called_in(number, ref.body), *ref.faces)

    return replace(
        result,
        bodies=tuple(replace(b, name=called_in(number, b.name)) for b in result.bodies),
        stated=tuple(
            replace(s, about=tuple(called_in(number, a) for a in s.about) or (called_in(number, s.of),))
            for s in result.stated
        ),
        findings=tuple(
            replace(
                f,
                id=called_in(number, f.id),
                subject=called_in(number, f.subject),
                about=tuple(map(face, f.about)),
                named=called_in(number, f.named),
                cut=called_in(number, f.cut),
                origin=from_job(f.origin),
            )
            for f in result.findings
        ),
        not_asked=(),
    )


def with_operations(whole: StoredResult, operations: Sequence[StoredResult]) -> StoredResult:
    """Return a job's result with all that its operations tell.

    Parameters
    ----------
    whole : StoredResult
        What the job's own file tells, which no operation does.
    operations : sequence of StoredResult
        As `of_operation` returns them.
    """
    return replace(
        whole,
        bodies=tuple(b for one in operations for b in one.bodies),
        stated=tuple(s for one in operations for s in one.stated),
        findings=(*whole.findings, *(f for one in operations for f in one.findings)),
    )
