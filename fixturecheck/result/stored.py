"""A result as result.json keeps it: its version, and reading one back, of this version or an older one."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, TypeVar

from fixturecheck.errors import SetupError
from fixturecheck.result import Result, Source
from fixturecheck.result.finding import Finding, Kind, NotAsked, Origin, Verdict, WhyNotAsked
from fixturecheck.result.grouping import identified
from fixturecheck.result.shapes import BodyDrawn, FaceDrawn, StatedFact

_Row = TypeVar("_Row", Source, NotAsked, StatedFact, BodyDrawn, FaceDrawn, Finding, Origin)
SCHEMA_VERSION = 2
"""Raised where a reader of the version before would misread a file, not where keys are only added."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredResult:
    """What a result.json tells, without the solids.

    Parameters
    ----------
    path : str
        The file that it was read from, or what else it goes by.
    schema : int
        The version that it was written in.
    verdict : Verdict
        The worst of the findings'.
    name : str
        What the set-up is called.
    file : str
        The set-up's file, from its own folder; empty where none was stored.
    units : str
        What lengths are written in: `mm`, `inch`, or `thou` of a result that was just made.
    sources : tuple of Source
        The files that the set-up was read from.
    findings : tuple of Finding
        Every answer, without its shapes.
    not_asked : tuple of NotAsked
        The questions that the verdict does not cover.
    stated : tuple of StatedFact
        What the set-up states; empty in an older file.
    bodies : tuple of BodyDrawn
        The bodies as drawn; empty in an older file.
    setups : mapping of int to str
        Of a job: the set-up's file of each operation that has one of its own, from the job's folder.
    """

    path: str
    schema: int
    verdict: Verdict
    name: str
    file: str
    units: str
    sources: tuple[Source, ...]
    findings: tuple[Finding, ...]
    not_asked: tuple[NotAsked, ...] = ()
    stated: tuple[StatedFact, ...] = ()
    bodies: tuple[BodyDrawn, ...] = ()
    setups: Mapping[int, str] = field(default_factory=dict)


def as_stored(result: Result, path: str) -> StoredResult:
    """Return what a result tells without its solids, as if it had been written and read.

    Parameters
    ----------
    result : Result
        What a check of a set-up came to.
    path : str
        What it goes by.

    Returns
    -------
    StoredResult
        In the version that is written now, its findings without shapes.
    """
    return StoredResult(
        path=path,
        schema=SCHEMA_VERSION,
        verdict=result.verdict,
        name=result.name,
        file=result.sources[0].path if result.sources else "",
        units=result.shown_in,
        sources=result.sources,
        findings=tuple(replace(f, shapes=()) for f in result.findings),
        not_asked=result.not_asked,
        stated=result.stated,
        bodies=result.bodies,
    )


def read_stored(text: bytes, path: str) -> StoredResult:
    """Read a result.json.

    Parameters
    ----------
    text : bytes
        What the file holds.
    path : str
        What to call it in a message.

    Returns
    -------
    StoredResult
        Its `path` is what it was called.

    Raises
    ------
    SetupError
        It is no result, is broken, or was written by a newer version.
    """
    try:
        data = json.loads(text)
    except ValueError as reason:
        raise SetupError(f"{path} is no result.json: {reason}") from reason
    if not isinstance(data, dict) or not isinstance(data.get("findings"), list) or "verdict" not in data:
        raise SetupError(f"{path} is no result.json: it holds no verdict with findings")
    schema = _schema_of(data, path)
    try:
        return _read(data, path, schema)
    except (KeyError, TypeError, ValueError, AttributeError) as reason:
        raise SetupError(f"{path} is a broken result.json: {type(reason).__name__} {reason}") from reason


def _schema_of(data: Mapping[str, Any], path: str) -> int:
    """Return the version that a file was written in; the first ones did not state it."""
    schema = data.get("schema", 1)
    if not isinstance(schema, int) or isinstance(schema, bool) or schema < 1:
        raise SetupError(f"{path} states the schema {schema!r}; a whole number from 1 is expected")
    if schema > SCHEMA_VERSION:
        raise SetupError(
            f"{path} was written in schema {schema}, and this version reads up to {SCHEMA_VERSION}: "
            "install the fixturecheck that wrote it, or a newer one"
        )
    return schema


def read_job(text: bytes, path: str) -> StoredResult:
    """Read the result.json of a job: its verdict, and what was found across its operations.

    What an operation's own set-up comes to is in a result.json of its own.

    Parameters
    ----------
    text : bytes
        What the file holds.
    path : str
        What to call it in a message.

    Returns
    -------
    StoredResult
        With `setups`, the file of each operation that has a set-up of its own.

    Raises
    ------
    SetupError
        It is no result of a job, is broken, or was written by a newer version.
    """
    try:
        data = json.loads(text)
        job, schema = data["job"], _schema_of(data, path)
        sources = tuple(_read_as(Source, s) for s in job["sources"])
        return StoredResult(
            path=path,
            schema=schema,
            verdict=Verdict(data["verdict"]),
            name=job["name"],
            file=sources[0].path if sources else "",
            units=job["units"],
            sources=sources,
            findings=(*_identified(data["findings"]), *_found_across(data)),
            setups={o["number"]: o["setup"] for o in data.get("operations", ()) if o.get("setup")},
        )
    except (KeyError, TypeError, ValueError, AttributeError) as reason:
        raise SetupError(
            f"{path} is a broken result.json of a job: {type(reason).__name__} {reason}"
        ) from reason


def without_checks(result: StoredResult, checks: Collection[str]) -> StoredResult:
    """Return a result without what some checks found: what is told of a job need not be told again.

    Parameters
    ----------
    result : StoredResult
        What was read.
    checks : collection of str
        IDs of the checks.

    Returns
    -------
    StoredResult
        Its verdict stays that of all.
    """
    return replace(result, findings=tuple(f for f in result.findings if f.check not in checks))


def called_in(number: int, name: str) -> str:
    """Return what a thing of an operation is called among those of all; empty stays empty.

    Parameters
    ----------
    number : int
        The operation's.
    name : str
        What it is called in it.

    Returns
    -------
    str
        Its name with the number before it.
    """
    return f"{number}: {name}" if name else ""


def _found_across(data: Mapping[str, Any]) -> Iterator[Finding]:
    """Yield what was found of each operation by looking at the others, told apart by its number."""
    for operation in data.get("operations", ()):
        number = operation["number"]
        for finding in _identified(operation["findings"]):
            yield replace(
                finding,
                id=called_in(number, finding.id),
                about=tuple(called_in(number, name) for name in finding.about),
                named=finding.named or f"operation {number}",
            )


def _identified(rows: list[Mapping[str, Any]]) -> tuple[Finding, ...]:
    return identified(_finding(row) for row in rows)


def _read(data: Mapping[str, Any], path: str, schema: int) -> StoredResult:
    setup = data["setup"]
    findings = tuple(_finding(row) for row in data["findings"])
    if any(not f.id for f in findings):
        # Schema 1 had no ids; they are made of what it has.
        findings = identified(findings)
    return StoredResult(
        path=path,
        schema=schema,
        verdict=Verdict(data["verdict"]),
        name=setup["name"],
        file=setup.get("file", ""),
        units=setup["units"],
        sources=tuple(_read_as(Source, s) for s in setup["sources"]),
        findings=findings,
        not_asked=tuple(_read_as(NotAsked, n, reason=WhyNotAsked(n["reason"])) for n in data["not_asked"]),
        stated=tuple(_read_as(StatedFact, s) for s in data.get("stated", ())),
        bodies=tuple(_body(row) for row in data.get("bodies", ())),
    )


def _read_as(cls: type[_Row], row: Mapping[str, Any], **instead: Any) -> _Row:
    """Return a record of a row that has a key for each field, but for those that are given."""
    return cls(**{f.name: _frozen(row[f.name]) for f in fields(cls) if f.name not in instead}, **instead)


def _frozen(value: Any) -> Any:
    return tuple(_frozen(v) for v in value) if isinstance(value, list) else value


def _body(row: Mapping[str, Any]) -> BodyDrawn:
    return _read_as(BodyDrawn, row, faces=tuple(_read_as(FaceDrawn, f) for f in row["faces"]))


def _finding(row: Mapping[str, Any]) -> Finding:
    """Return a finding; what the first versions did not write may be missing."""
    origin = row.get("origin")
    return _read_as(
        Finding,
        row,
        id=row.get("id", ""),
        verdict=Verdict(row["verdict"]),
        kind=_kind(row["kind"]),
        asks=_kind(row.get("asks") or ""),
        named=row.get("named", ""),
        shapes=(),
        overruled=Verdict(row["overruled"]) if row["overruled"] else None,
        origin=None if origin is None else _read_as(Origin, origin),
    )


_RENAMED = {"as stated": None}
"""Kinds of older versions that are told apart by now, and so stand for none of today's."""


def _kind(text: str) -> Kind | None:
    return Kind(text) if text and text not in _RENAMED else None
