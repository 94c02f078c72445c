"""A job read as text, so that mistakes are answered before the kernel loads."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from fixturecheck.errors import Mistakes, SetupError
from fixturecheck.fields import shortened
from fixturecheck.names import nearest
from fixturecheck.process.records import BlankEntry, JobEntry, Operation, refuse_bad_order
from fixturecheck.setup.document import into_file, read_document, text_of
from fixturecheck.setup.facts import FILE_KEYS, BodyFacts, body_facts
from fixturecheck.setup.reader import Stated
from fixturecheck.setup.text import StatedSetup, read_facts

TABLES = ("job", "part", "blank", "operation")
"""What may stand at the top of a job."""

_SETUP_OF = ("operation", "setup")
"""The table whose entries name a set-up, and the key by which they do."""

NOT_OF_PART = frozenset(FILE_KEYS) - {"name", "file", "solid"}
"""Keys of a body that a job's part does not have, since it stands somewhere else in each operation."""


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedJob:
    """What a job states, without its solids.

    Parameters
    ----------
    path : Path
        Its file.
    head : JobEntry
        What it is called and shown in.
    part : BodyFacts
        The finished part.
    blank : BlankEntry or None
        What it is made from.
    blank_facts : BodyFacts or None
        References to the blank's faces.
    operations : tuple of Operation
        In the order of their numbers.
    facts : Stated
        The tables that it was read from.
    overrides : mapping of int to mapping of str to str
        By the operation's number: values for dotted keys of its set-up.
    """

    path: Path
    head: JobEntry
    part: BodyFacts
    blank: BlankEntry | None
    blank_facts: BodyFacts | None
    operations: tuple[Operation, ...]
    facts: Stated
    overrides: Mapping[int, Mapping[str, str]] = field(default_factory=dict)

    def where(self, operation: Operation, key: str) -> str:
        """Say where a key of an operation stands.

        Parameters
        ----------
        operation : Operation
            One of the job's.
        key : str
            A key of its table.
        """
        rows = self.facts.tables("operation")
        row = next(r for r in rows if r.values.get("number") == operation.number)
        return row.where((*row.path, key))


def is_job(path: Path) -> bool:
    """Tell whether a TOML file is a job; a file that does not parse is refused later, where it is read.

    Parameters
    ----------
    path : Path
        A TOML file.

    Returns
    -------
    bool
    """
    try:
        return "job" in tomllib.loads(text_of(path))
    except (SetupError, ValueError, RecursionError):
        return False


def read_job_text(path: Path, overrides: Mapping[str, str]) -> StatedJob:
    """Read what a job states, and the set-ups that it names; part files are not opened.

    Parameters
    ----------
    path : Path
        The file.
    overrides : mapping of str to str
        Values for dotted keys: `operation.30.burr_mm`, `part.material`. `operation.30.setup.` leads to a key
        of the set-up of an operation: `operation.30.setup.wheel.diameter_mm`.

    Returns
    -------
    StatedJob

    Raises
    ------
    SetupError
        The file cannot be read, or states something wrong: every mistake with its line.
    """
    own = {key: value for key, value in overrides.items() if into_file(key, *_SETUP_OF) is None}
    inside = {key: value for key, value in overrides.items() if key not in own}
    return stated_job(read_document(path, own), path, inside)


def _inside_setups(
    operations: Sequence[Operation], overrides: Mapping[str, str]
) -> Mapping[int, Mapping[str, str]]:
    """Return by the operation's number the values for keys of its set-up.

    Raises
    ------
    SetupError
        A key leads to no set-up.
    """
    wrong, found = Mistakes(), dict[int, dict[str, str]]()
    for key, value in overrides.items():
        called, rest = into_file(key, *_SETUP_OF) or ("", key)
        one = next((o for o in operations if called in {str(o.number), o.name}), None)
        if one is None:
            known = nearest(called, [str(o.number) for o in operations])
            wrong.add(f"--set {key}={value}: there is no operation {called!r}; {known}")
        elif one.setup is None:
            wrong.add(f"--set {key}={value}: operation {one.title!r} states no setup")
        else:
            found.setdefault(one.number, {})[rest] = value
    wrong.raise_any()
    return found


def stated_job(facts: Stated, path: Path, inside: Mapping[str, str] | None = None) -> StatedJob:
    """Return the job that the tables of its file state.

    Parameters
    ----------
    facts : Stated
        The tables at the top.
    path : Path
        The job's file.
    inside : mapping of str to str, optional
        Values for dotted keys that lead into the set-up of an operation.

    Returns
    -------
    StatedJob
        With the set-ups that it names read as text.

    Raises
    ------
    SetupError
        As for `read_job_text`.
    """
    wrong = Mistakes()
    with wrong.noted():
        facts.only(TABLES)
    head = wrong.or_else(lambda: facts.table("job").record(JobEntry), JobEntry())
    part = wrong.or_else(lambda: _part(facts, head.units), None)
    blank, blank_facts = wrong.or_else(lambda: _blank(facts, head.units), (None, None))
    rows = wrong.or_else(lambda: facts.tables("operation"), [])
    before = len(wrong)
    operations = wrong.each(rows, _operation)
    if not rows and len(wrong) == before:
        wrong.add(f"{facts.where(())}: the job has no [[operation]]; state at least one")
    if len(wrong) == before:
        with wrong.noted():
            refuse_bad_order(operations, _where_of(rows))
    wrong.raise_any()
    if part is None:
        facts.fail("the job has no [part]")
    ordered = tuple(sorted(operations, key=lambda o: o.number))
    job = StatedJob(
        path=path,
        head=head,
        part=part,
        blank=blank,
        blank_facts=blank_facts,
        operations=ordered,
        facts=facts,
        overrides=_inside_setups(ordered, inside or {}),
    )
    for operation in ordered:
        if operation.setup is not None:
            with wrong.noted():
                setup_text(job, operation)
    wrong.raise_any()
    return job


def _where_of(rows: list[Stated]) -> Mapping[int, str]:
    """Return by number of the operation where its table stands."""
    return {row.values["number"]: row.where(row.path) for row in rows if "number" in row.values}


def _part(facts: Stated, units: str) -> BodyFacts:
    """Return the finished part: a body that stands nowhere yet."""
    if "part" not in facts.values:
        facts.fail("the job lacks the table [part], which names the file of the finished part")
    entry = facts.table("part")
    wrong = Mistakes()
    for key in entry.values:
        if key in NOT_OF_PART:
            with wrong.noted():
                entry.fail(f"{key} is stated in the set-up of each operation, not in [part]", key)
    wrong.raise_any()
    return body_facts(entry, units)


def _blank(facts: Stated, units: str) -> tuple[BlankEntry | None, BodyFacts | None]:
    """Return the blank and the references to its faces."""
    if "blank" not in facts.values:
        return None, None
    entry = facts.table("blank")
    blank = entry.record(BlankEntry, readers={"faces": lambda: entry.get("faces", "table")})
    if (blank.file is None) == (not blank.size_mm):
        entry.fail("[blank] states either file or size_mm with low_mm")
    if blank.size_mm and (len(blank.size_mm) != 3 or len(blank.low_mm) != 3):
        entry.fail("size_mm and low_mm in [blank] hold three numbers each: along X, Y and Z")
    as_body = {"name": "blank", "file": blank.file or "", "faces": dict(blank.faces)}
    return blank, body_facts(replace(entry, values=as_body), units)


def _operation(entry: Stated) -> Operation:
    """Return one operation."""
    readers = {
        "makes": lambda: _texts(entry, "makes"),
        "measured_from": lambda: _texts(entry, "measured_from"),
        "measures": lambda: _texts(entry, "measures"),
        "stones": lambda: _stones(entry),
    }
    operation = entry.record(Operation, readers=readers)
    if not operation.name.strip() or not operation.name.isprintable():
        entry.fail(f"{entry.what}: name must be printable and not empty", "name")
    if operation.growth_share and (
        len(operation.growth_share) != 2 or operation.growth_share[0] > operation.growth_share[1]
    ):
        entry.fail(f"growth_share in {entry.what} holds a low and a high share", "growth_share")
    for key in ("stock_mm", "leave_mm"):
        for face in getattr(operation, key):
            if face != "*" and face not in operation.makes:
                near = nearest(face, operation.makes)
                entry.fail(f"{key} of {face!r} in {entry.what}: it does not make that face; {near}", key)
    return operation


def _texts(entry: Stated, key: str) -> tuple[str, ...]:
    """Return a list of names; one name may stand alone."""
    value = entry.values[key]
    return (value,) if isinstance(value, str) else tuple(entry.get(key, "texts"))


def _stones(entry: Stated) -> tuple[tuple[str, ...], ...]:
    """Return what is stoned: names of faces, or pairs of them for the edge between."""
    value = entry.get("stones", "anything")
    found = []
    for item in value if isinstance(value, list | tuple) else [value]:
        pair = (item,) if isinstance(item, str) else item
        fits = (
            isinstance(pair, list | tuple) and len(pair) in (1, 2) and all(isinstance(n, str) for n in pair)
        )
        if not fits:
            reason = (
                f"stones in {entry.what} holds faces, or pairs of faces for the edge between them, like "
                f'["top", ["top", "back"]]; got {shortened(item)}'
            )
            entry.fail(reason, "stones")
        found.append(tuple(pair))
    return tuple(found)


def setup_text(job: StatedJob, operation: Operation) -> StatedSetup:
    """Read the set-up that an operation stands in, with what the job says of its part and its stock.

    Parameters
    ----------
    job : StatedJob
        The job as its file states it.
    operation : Operation
        One of the job's that names the file of a set-up.

    Returns
    -------
    StatedSetup

    Raises
    ------
    SetupError
        It cannot be read or states something wrong: every mistake with its line.
    """
    path = job.path.parent / str(operation.setup)
    if not path.is_file():
        raise SetupError(
            f"{job.where(operation, 'setup')}: set-up {shortened(operation.setup)} is not a file"
        )
    overrides = job.overrides.get(operation.number, {})
    document = read_document(path, overrides, reached_by=f"operation.{operation.number}.setup.")
    return read_facts(_adapted(job, operation, path.parent, document), path)


def _adapted(job: StatedJob, operation: Operation, home: Path, facts: Stated) -> Stated:
    """Return the tables of a set-up with the job's part and the operation's stock put in."""
    values = dict(facts.values)
    bodies = values.get("body")
    if isinstance(bodies, list):
        values["body"] = [_body(job, operation, home, row) for row in bodies]
    cuts = values.get("cut")
    if isinstance(cuts, list):
        values["cut"] = [
            _cut(operation, replace(facts, values=row, path=("cut", n))) for n, row in enumerate(cuts)
        ]
    return replace(facts, values=values)


def _is_part(job: StatedJob, home: Path, row: object) -> bool:
    """Tell whether a body of a set-up is the job's part: it says a state, or has its name or its file."""
    if not isinstance(row, Mapping):
        return False
    file = row.get("file")
    own = isinstance(file, str) and (home / file).resolve() == _part_file(job)
    return "state" in row or row.get("name") == job.part.name or own


def _part_file(job: StatedJob) -> Path:
    return (job.path.parent / str(job.part.file)).resolve()


def _body(job: StatedJob, operation: Operation, home: Path, row: object) -> object:
    """Return a body of the set-up with what the job states of its part, where it is that."""
    if not isinstance(row, Mapping) or not _is_part(job, home, row):
        return row
    given = {key: value for key, value in job.part.entry.values.items() if key != "name"}
    given["file"] = str(_part_file(job))
    # A set-up draws what is cut finished; the wheel takes the stock from it.
    given["state"] = "after"
    return {**given, **row, "file": given["file"]}


def _cut(operation: Operation, row: Stated) -> Mapping[str, Any]:
    """Return a cut with the stock that the operation takes off its faces.

    Raises
    ------
    SetupError
        The cut states another stock.
    """
    values = dict(row.values)
    for face_key, key in (("floor", "stock_mm"), ("wall", "wall_stock_mm")):
        face = values.get(face_key)
        by_mm = operation.stock_of(face) if isinstance(face, str) and face in operation.makes else None
        if by_mm is None:
            continue
        stated = row.number(key, "anything")
        if stated is not None and stated != by_mm:
            reason = (
                f"{key} of cut {values.get('name')!r} is {shortened(stated)}, but operation "
                f"{operation.title!r} takes {by_mm:g} off {face!r}; state it once"
            )
            row.fail(reason, key)
        values[key] = by_mm
    return values
