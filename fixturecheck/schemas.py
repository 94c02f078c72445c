"""The JSON Schemas of all TOML files that are read, and putting them where files name them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping
from importlib.resources import files
from pathlib import Path

from fixturecheck.errors import SetupError
from fixturecheck.files import write_whole
from fixturecheck.names import CHECKS
from fixturecheck.process.records import BlankEntry, JobEntry, Operation
from fixturecheck.process.text import NOT_OF_PART
from fixturecheck.setup.records import BodyEntry
from fixturecheck.setup.schema import (
    SETUP_FILE,
    TEXT,
    Schema,
    list_of,
    measurements_schema,
    record_schema,
    reference,
    root_schema,
    setup_schema,
    shared_definitions,
    shop_schema,
    special_schema,
)
from fixturecheck.study.model import ParameterEntry, StudyEntry

JOB_FILE, STUDY_FILE = "job.schema.json", "study.schema.json"

_TEXTS: Schema = {"anyOf": [TEXT, {"type": "array", "items": TEXT}]}
"""Names, or one of them alone."""

_EDGE: Schema = {"anyOf": [TEXT, {"type": "array", "items": TEXT, "minItems": 1, "maxItems": 2}]}
_STONES: Schema = {"anyOf": [TEXT, {"type": "array", "items": _EDGE}]}

_VALUE: Schema = {"type": ["number", "string", "boolean"]}
_VALUES: Schema = {
    "type": "array",
    "items": {"anyOf": [_VALUE, {"type": "array", "items": _VALUE, "minItems": 1}]},
    "minItems": 1,
}


def _job_schema() -> Schema:
    """Return the schema of a job.

    Returns
    -------
    dict
        A JSON Schema, draft 7.
    """
    operation = record_schema(
        Operation,
        "[[operation]]",
        special={
            "name": {**TEXT, "pattern": r"\S"},
            **dict.fromkeys(("makes", "measured_from", "measures"), _TEXTS),
            "stones": _STONES,
        },
    )
    part = record_schema(
        BodyEntry,
        "[part]",
        special={key: special_schema("body", key) for key in ("name", "material", "finish", "faces")},
        without=NOT_OF_PART,
    )
    blank = record_schema(BlankEntry, "[blank]", special={"faces": special_schema("body", "faces")})
    size = {"required": ["size_mm", "low_mm"]}
    blank["oneOf"] = [{"required": ["file"]}, size]
    for key in ("size_mm", "low_mm"):
        blank["properties"][key]["minItems"] = 3
    definitions = {
        "job": record_schema(JobEntry, "[job]"),
        "part": part,
        "blank": blank,
        "operation": operation,
        **shared_definitions(),
    }
    top = {name: reference(name) for name in ("job", "part", "blank")}
    top["operation"] = {**list_of("operation"), "minItems": 1}
    made = root_schema("A part's whole job, operation by operation", top, definitions)
    return {**made, "required": ["job", "part", "operation"]}


def _study_schema() -> Schema:
    """Return the schema of a study.

    Returns
    -------
    dict
        A JSON Schema, draft 7.
    """
    parameter = record_schema(ParameterEntry, "[[parameter]]", special={"values": _VALUES})
    parameter["allOf"] = [
        {"oneOf": [{"required": [key]} for key in pair]} for pair in (("set", "sets"), _WAYS)
    ] + [{"if": {"required": ["nominal"]}, "then": {"required": ["tolerance"]}}]
    checks = {"type": "array", "items": {"enum": list(CHECKS)}}
    study = record_schema(StudyEntry, "[study]", special={"only": checks, "skip": checks})
    definitions = {"study": study, "parameter": parameter}
    top = {"study": reference("study"), "parameter": list_of("parameter")}
    made = root_schema("A set-up in many variants", top, definitions)
    return {**made, "required": ["study"]}


_WAYS = ("values", "range", "nominal")
"""What a parameter is given: one of them."""


def _job_setup_schema() -> Schema:
    """Return the schema of the set-up of an operation, whose part the job states.

    Returns
    -------
    dict
        A JSON Schema, draft 7.
    """
    made = setup_schema()
    body = made["definitions"]["body"]
    body["required"] = [key for key in body["required"] if key != "file"]
    made["title"] = "Set-up of one operation of a job"
    return made


SCHEMAS: Mapping[str, Callable[[], Schema]] = {
    SETUP_FILE: setup_schema,
    "shop.schema.json": shop_schema,
    "measurements.schema.json": measurements_schema,
    JOB_FILE: _job_schema,
    "job_setup.schema.json": _job_setup_schema,
    STUDY_FILE: _study_schema,
}
"""By the name of the file that ships with the program, what makes it."""


def schema_text(schema: Schema) -> str:
    """Return a schema as the text of its file.

    Parameters
    ----------
    schema : dict
        As one of `SCHEMAS` makes it.

    Returns
    -------
    str
        JSON, with a line end after it.
    """
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def shipped(name: str = SETUP_FILE) -> Path:
    """Return where a schema lies that came with the program.

    Parameters
    ----------
    name : str
        A key of `SCHEMAS`.

    Returns
    -------
    Path
        The file.
    """
    return Path(str(files("fixturecheck.setup").joinpath(name)))


def put_into(folder: Path, names: Iterable[str] = tuple(SCHEMAS)) -> tuple[Path, ...]:
    """Put schemas that came with the program into a folder; an older one of ours there is replaced.

    Parameters
    ----------
    folder : Path
        Where the files are that name them.
    names : iterable of str
        Keys of `SCHEMAS`.

    Returns
    -------
    tuple of Path
        The files that were written.

    Raises
    ------
    SetupError
        A file of the name is there that is no schema of ours.
    """
    found = []
    for name in names:
        path = folder / name
        if path.exists() and not _is_ours(path, name):
            raise SetupError(f"{path} exists and is no schema of fixturecheck; move it away")
        write_whole(path, shipped(name).read_text(encoding="utf-8"))
        found.append(path)
    return tuple(found)


def _is_ours(path: Path, name: str) -> bool:
    try:
        there = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    title = json.loads(shipped(name).read_text(encoding="utf-8"))["title"]
    return isinstance(there, dict) and there.get("title") == title
