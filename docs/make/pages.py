"""The pages of the reference, each made of the code that it describes.

Nothing made here is kept in the repository, so that no page can be older than the code.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import inspect
import json
import os
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import is_dataclass
from pathlib import Path
from types import UnionType
from typing import Any, get_args, get_type_hints

import bibtexparser

from fixturecheck import cli
from fixturecheck.checks import MODULES, description_of
from fixturecheck.commands import terminal
from fixturecheck.names import CHECKS, SEVERITIES
from fixturecheck.result import Result
from fixturecheck.result.contact import Contact, CutMade
from fixturecheck.result.dials import CutDials, DatumOffset, DialReading
from fixturecheck.result.finding import Finding, Group
from fixturecheck.result.hold import (
    FaceHeld,
    HoldFound,
    PartHeld,
)
from fixturecheck.result.rest import PartLocation, Rest, WayIn
from fixturecheck.result.tolerance import Chances
from fixturecheck.setup import schema as keys
from fixturecheck.setup.reader import RECORDS as TABLES
from fixturecheck.shop.catalogue import Param, equipment
from fixturecheck.shop.tables import finishes, materials

ROOT = Path(__file__).resolve().parents[2]
BIBLIOGRAPHY = ROOT / "docs" / "references.bib"
PICTURES = (ROOT / "models/index_pawl/rev_a_nest.png", ROOT / "models/gib/held_pull.png")
"""Pictures of the models that the pages show."""

RECORDS = {
    "cut_dials": CutDials, "offset": DatumOffset, "reading": DialReading,
    "finding": Finding, "group": Group, "contact": Contact, "cut": CutMade, "rest": Rest, "chances": Chances,
    "location": PartLocation, "way_in": WayIn,
    "holding": HoldFound, "part_held": PartHeld, "face_held": FaceHeld,
}  # fmt: skip
"""The data classes of which objects in result.json are made."""
_JSON = {str: "string", float: "number", int: "integer", bool: "boolean"}
_MADE = "<!-- Made of the code when the site is built: edit {source}, not this page. -->\n\n"


def _table(head: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """Return a Markdown table."""
    columns = list(head)
    lines = [columns, ["---"] * len(columns), *([_cell(c) for c in row] for row in rows)]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines) + "\n"


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


def keys_page() -> str:
    """Return the keys of a set-up: unit, default, range and meaning of each."""
    out = [_MADE.format(source="the data classes in `fixturecheck/setup`"), "# Set-up keys\n"]
    out.append(
        "Every table that a set-up may hold, and every key of each. `fixturecheck keys` prints the same in a "
        "terminal, and `fixturecheck keys cut` one table.\n\n"
        "Where two names stand, the second states the same quantity in inch units. A key with the "
        f"default `{keys.NEEDED}` must be stated.\n"
    )
    for table in TABLES:
        out.append(f"## `{keys.heading(table)}` {{ #{_anchor(table)} }}\n\n{keys.purpose_of(table)}\n")
        out.append(_table(("key", "unit", "default", "takes", "meaning"), map(_key_row, keys.keys_of(table))))
    levels = ", ".join(f"`{level}`" for level in SEVERITIES)
    out.append(
        "## `[severity]` { #severity }\n\nWhat a no-go of a check counts as. Each key is the name of a "
        f"check: {', '.join(f'`{c}`' for c in CHECKS)}. Each value is one of {levels}.\n"
    )
    return "\n".join(out)


def _key_row(key: keys.Key) -> tuple[str, ...]:
    takes = [re.sub(r'"([^"]*)"', r"`\1`", text) for text in (key.takes, key.span) if text]
    names = [name for name in (key.name, key.inch_key) if name]
    default = f"`{key.default}`" if key.default else ""
    return "<br>".join(f"`{n}`" for n in names), key.unit, default, ", ".join(takes), key.meaning


def _anchor(name: str) -> str:
    return name.replace(".", "-")


def checks_page() -> str:
    """Return what each check asks, from its own docstring."""
    out = [_MADE.format(source="the docstrings in `fixturecheck/checks`"), "# Checks\n"]
    checks = {name: description_of(name) for name in MODULES}
    out.append("Each check answers one question. `fixturecheck explain seat` prints the same of one.\n")
    rows = [(f"[`{name}`](#{name})", told.question) for name, told in checks.items()]
    out.append(_table(("check", "question"), rows))
    for name, told in checks.items():
        out.append(f"## `{name}`: {told.title} {{ #{name} }}\n\n**{told.question}**\n")
        if told.before:
            out.append(f"{told.before}\n")
        for title, text in told.sections:
            out.append(f"{title}\n:   {_linked(_capital(text))}\n")
    return "\n".join(out)


def _linked(text: str) -> str:
    """Turn the keys that a text cites into links to the page of sources."""
    return re.sub(r"\[@(\w+)\]", r"[[\1]](sources.md#\1)", text)


def shop_page() -> str:
    """Return what the shop has: equipment with its sizes, materials and finishes, each with its source."""
    out = [_MADE.format(source="`fixturecheck/shop/tables`"), "# Shop\n"]
    out.append(
        "What a set-up may name. `fixturecheck shop` lists the same, and `fixturecheck shop equipment "
        "magnetic_v_block` adds where the bodies and faces of a piece of equipment are. How to add your own: "
        "[Extend the shop](../how-to/shop.md).\n\n## Equipment\n"
    )
    for kind in equipment().values():
        out.append(f"### `{kind.name}`\n\n{_sentence(kind.says)} Its origin: {kind.origin}.\n")
        source = _linked(kind.source).removeprefix("sizes: ")
        out.append(f"Bodies: {kind.bodies}. Source of its sizes: {source}.\n")
        out.append(_table(("size", "default", "takes", "meaning"), map(_size_row, kind.params.values())))
    out.append("## Materials\n\nAt room temperature. Two numbers are the low and the high end.\n")
    rows = [
        (
            f"`{m.name}`", m.says, f"{m.density_kg_m3:g}", _ends(m.youngs_modulus_mpa, 1e-3),
            "yes" if m.magnetic else "no", _iron(m), _ends(m.friction_on_steel), _linked(m.source),
        )
        for m in materials().values()
    ]  # fmt: skip
    head = ("name", "what", "kg/m³", "E, GPa", "magnetic", "B-H", "friction on steel", "source")
    out.append(_table(head, rows))
    out.append("## Finishes\n")
    rows = [
        (f"`{f.name}`", f.says, _ends(f.ra_um), _ends(f.rz_um), _linked(f.source))
        for f in finishes().values()
    ]
    out.append(_table(("name", "what", "Ra, µm", "Rz, µm", "source"), rows))
    return "\n".join(out)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _sentence(text: str) -> str:
    return _capital(text).rstrip(".") + "."


def _size_row(param: Param) -> tuple[str, ...]:
    default = f"{param.default:g}" if isinstance(param.default, float) else str(param.default)
    takes = " or ".join(f"`{o}`" for o in param.options)
    if param.is_material:
        takes = "a [material](#materials)"
    elif not takes and not isinstance(param.default, str):
        takes = param.allowed.range_said()
    return f"`{param.name}`", f"`{default}`", takes, param.says


def _ends(pair: tuple[float, float], scale: float = 1.0) -> str:
    low, high = (f"{v * scale:g}" for v in pair)
    return low if low == high else f"{low} to {high}"


def _iron(material: Any) -> str:
    if material.bh:
        return f"{len(material.bh)} points"
    return f"between {' and '.join(f'`{n}`' for n in material.between)}" if material.between else ""


def command_line_page() -> str:
    """Return the help of every command, and what the exit codes mean."""
    out = [_MADE.format(source="`fixturecheck/commands/`"), "# Command line\n"]
    for name, parser in _commands():
        out.append(f"## `{name}`\n\n```text\n{_help(parser)}```\n")
    out.append("## Exit codes\n")
    out.append(
        _table(
            ("code", "meaning"),
            [
                (f"`{terminal.GO}`", "Go. Cautions pass, unless `--strict`."),
                (
                    f"`{terminal.NO_GO}`",
                    "No-go, or a caution with `--strict`. For `relieve`: something is left in the way.",
                ),
                (f"`{terminal.WRONG}`", "The set-up or the command is wrong. Nothing is written."),
                (
                    f"`{terminal.NOT_COMPUTED}`",
                    "Something could not be computed, crashed, ran out of time or was stopped.",
                ),
            ],
        )
    )
    out.append(
        "A stop by Ctrl-C or any other signal leaves an earlier result as it was. Progress, and what has "
        "been found so far, go to standard error; the table of findings goes to standard output.\n"
    )
    return "\n".join(out)


def _commands() -> Iterator[tuple[str, argparse.ArgumentParser]]:
    whole = cli.parser()
    yield "fixturecheck", whole
    for action in whole._actions:
        if isinstance(action, argparse._SubParsersAction):
            yield from ((f"fixturecheck {name}", parser) for name, parser in action.choices.items())


def _help(parser: argparse.ArgumentParser) -> str:
    """Return the help of a command as it is folded on every machine."""
    before = os.environ.get("COLUMNS")
    os.environ["COLUMNS"] = "92"
    try:
        return parser.format_help()
    finally:
        os.environ.pop("COLUMNS")
        if before is not None:
            os.environ["COLUMNS"] = before


def public_names() -> dict[str, str]:
    """Return each public name of the package and the module that defines it, as the stub states them."""
    stub = ast.parse((ROOT / "fixturecheck/__init__.pyi").read_text(encoding="utf-8"))
    imports = [node for node in stub.body if isinstance(node, ast.ImportFrom)]
    return {alias.name: node.module or alias.name for node in imports for alias in node.names}


def python_page() -> str:
    """Return the Python interface: every public name, described where it is defined."""
    names = public_names()
    modules = [name for name, home in names.items() if name == home]
    kinds = {
        "Check and report": ("load", "check", "write_report", "relieve"),
        "Result": ("Result", "Finding", "Verdict", "Reliefs"),
        "Errors": ("FixturecheckError", "SetupError", "KernelError", "NotComputedError"),
        "Make a set-up": ("body", "equipment", "place", "own_shop", "chuck_file"),
    }
    placed = {name for group in kinds.values() for name in group}
    kinds["What a set-up states"] = tuple(n for n in names if n not in placed and n not in modules)
    out = [_MADE.format(source="the docstrings"), "# Python\n"]
    out.append(
        "```python\nimport fixturecheck as fc\n```\n\nEverything on this page is an attribute of the "
        "package. Importing it loads neither the CAD kernel nor the renderer; a name is fetched when it is "
        "first used.\n"
    )
    for title, group in kinds.items():
        out.append(f"## {title}\n")
        out += [f"::: fixturecheck.{names[n]}.{n}\n" for n in group]
    for name in modules:
        doors = importlib.import_module(f"fixturecheck.{name}")
        out.append(f"## `fixturecheck.{name}`\n\n{inspect.getdoc(doors)}\n")
        for door in doors.__all__:
            out.append(f"::: {getattr(doors, door).__module__}.{door}\n")
    return "\n".join(out)


def result_page() -> str:
    """Return the fields of result.json, from its schema."""
    schema = json.loads((ROOT / "fixturecheck/report/result.schema.json").read_text(encoding="utf-8"))
    out = [_MADE.format(source="`fixturecheck/report/result.schema.json`"), "# result.json\n"]
    out.append(
        f"{schema['title']}. {schema['description']}\n\nThe numbers are metric whatever the report shows. "
        "The order of keys and the number of digits are fixed, so that two runs on the same set-up give the "
        "same bytes. The schema is `fixturecheck/report/result.schema.json`, JSON Schema 2020-12.\n"
    )
    out.append("## Top level\n\n" + _fields(schema, Result))
    for name, what in schema["$defs"].items():
        said = f"{what['description']}\n\n" if "description" in what else ""
        body = _fields(what, RECORDS.get(name)) if "properties" in what else f"{_capital(_type(what))}.\n"
        out.append(f"## `{name}` {{ #{name} }}\n\n{said}{body}")
    return "\n".join(out)


def _fields(schema: Mapping[str, Any], record: type | None = None) -> str:
    return _table(("field", "type", "meaning"), _field_rows(schema, "", record))


def _field_rows(
    schema: Mapping[str, Any], inside: str, record: type | None
) -> Iterator[tuple[str, str, str]]:
    """Yield the rows of an object's fields; what the schema does not describe, its data class does."""
    needed, stated = schema.get("required", ()), schema.get("properties", {})
    meanings = keys.meanings_of(record) if record is not None else {}
    types = get_type_hints(record) if record is not None else {}
    for name in dict.fromkeys((*stated, *needed)):
        what = stated.get(name, {})
        said = what.get("description") or meanings.get(name, "")
        if name not in needed:
            said = f"{said} May be left out.".strip()
        yield f"`{inside}{name}`", _type(what) if what else _plain_type(types.get(name)), said
        inner = what.get("items", what)
        if "properties" in inner or "required" in inner:
            within = f"{inside}{name}{'[]' if 'items' in what else ''}."
            yield from _field_rows(inner, within, _record_in(types.get(name)))


def _record_in(kind: Any) -> type | None:
    """Return the data class that a type is, or that a tuple or an optional holds."""
    if is_dataclass(kind):
        return kind if isinstance(kind, type) else None
    return next((found for part in get_args(kind) if (found := _record_in(part)) is not None), None)


def _plain_type(kind: Any) -> str:
    """Return how JSON writes a type of Python."""
    if kind is None or kind is type(None):
        return "null"
    if isinstance(kind, type) and kind in _JSON:
        return _JSON[kind]
    parts = [p for p in get_args(kind) if p is not Ellipsis]
    if isinstance(kind, UnionType):
        return " or ".join(map(_plain_type, parts))
    return f"list of {_plain_type(parts[0])}" if parts else "object"


def _type(what: Mapping[str, Any]) -> str:
    """Return the type of a field in words, with links to what is described elsewhere on the page."""
    if "$ref" in what:
        name = what["$ref"].rsplit("/", 1)[1]
        return f"[{name}](#{name})"
    if "oneOf" in what:
        return " or ".join(_type(one) for one in what["oneOf"])
    if "enum" in what:
        return " or ".join(f"`{json.dumps(v)}`" for v in what["enum"])
    if "const" in what:
        return f"`{json.dumps(what['const'])}`"
    kind = what.get("type", "any")
    if kind == "array":
        return f"list of {_type(what['items'])}" if "items" in what else "list"
    return " or ".join(kind) if isinstance(kind, list) else str(kind)


def bibliography() -> dict[str, dict[str, str]]:
    """Return each work of the bibliography by its key: its fields, and its `type`."""
    library = bibtexparser.parse_string(BIBLIOGRAPHY.read_text(encoding="utf-8"))
    if library.failed_blocks:
        raise ValueError(f"{BIBLIOGRAPHY.name}: {len(library.failed_blocks)} entries cannot be read")
    return {
        entry.key: {"type": entry.entry_type, **{f.key: str(f.value) for f in entry.fields}}
        for entry in library.entries
    }


def sources_page() -> str:
    """Return the works that formulas and tables cite, by key."""
    out = [_MADE.format(source="`docs/references.bib`"), "# Sources\n"]
    out.append(
        "Every physical formula and every row of a table cites a key of this list, or says what it rests on "
        "instead. *from memory* is a value or formula remembered and not looked up. *common practice, no "
        "source* is a rule of the trade.\n"
    )
    for key, work in sorted(bibliography().items()):
        out.append(f"`{key}`{{ #{key} }}\n:   {_cited(work)}\n")
    return "\n".join(out)


def _cited(work: Mapping[str, str]) -> str:
    order = (
        "author",
        "title",
        "journal",
        "booktitle",
        "edition",
        "publisher",
        "institution",
        "number",
        "year",
    )
    said = ", ".join(work[k] for k in (*order, "howpublished") if k in work)
    note = f" {work['note']}" if "note" in work else ""
    return f"{said}.{note}"


PAGES: Mapping[str, Callable[[], str]] = {
    "reference/command-line.md": command_line_page,
    "reference/keys.md": keys_page,
    "reference/checks.md": checks_page,
    "reference/shop.md": shop_page,
    "reference/python.md": python_page,
    "reference/result.md": result_page,
    "reference/sources.md": sources_page,
}
"""The generated pages, by the place they take in the site."""
