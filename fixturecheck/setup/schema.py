"""The keys of a TOML file, made of the data classes that read it: for people, and as a schema for editors.

A schema knows keys, kinds of values, words and ranges. What one table says of another (a body that a seat
names, a face, a wheel whose sizes do not go together) is known only to the reader.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import MISSING, Field, dataclass, is_dataclass
from functools import cache
from types import MappingProxyType, NoneType, UnionType
from typing import Any, get_args, get_origin

from fixturecheck.fields import Allowed, allowed_in, own_fields
from fixturecheck.names import CHECKS, MOST_NAME, NAME, SEVERITIES
from fixturecheck.setup.facts import AXES, FREE_KEYS, GANG_KEYS, MOST_REFERENCES, PLACING_KEYS
from fixturecheck.setup.measurement import CHUCKS, MEASURED, MOST_MEASUREMENTS
from fixturecheck.setup.reader import ALL, BY_OTHER_KEYS, LISTS, MOST_ENTRIES, RECORDS, kind_of, types_of
from fixturecheck.setup.records import MOST_SELECTOR, MOST_TURNS, PLACE_MM, TURN_DEG, Rank
from fixturecheck.setup.text import MOST_HEAD, SHOP_TABLES
from fixturecheck.shop.catalogue import Param, equipment
from fixturecheck.shop.tables import GRINDS_AS, LEAST_SOURCE, finishes, materials
from fixturecheck.units import inch_key, metric_unit, to_inch_key

RECORD_OF: Mapping[str, type] = {**RECORDS, **MEASURED}
"""The data class of each table, of a set-up and of a file of measurements."""

_HEADS = {
    "body.seats": "[[body.seats]]",
    "staging.push": "[staging.push.PART]",
    "staging.press": "[[staging.press]]",
}
_KINDS = {"text": "text", "number": "number", "whole": "whole number", "flag": "true or false"}
_LISTS = {"texts": "list of texts", "numbers": "list of numbers"}
_PARAMETERS = re.compile(r"^Parameters\n-+\n(.*?)(?=^\w+\n-{3,}|\Z)", re.MULTILINE | re.DOTALL)
_ENTRY = re.compile(r"^(\w[\w, ]*) : (.+)\n((?:[ \t]+.*\n?|\n)*)", re.MULTILINE)
NEEDED = "(needed)"
"""Stands in place of the default of a key that must be stated."""


def meanings_of(record: type) -> dict[str, str]:
    """Return what each field of a data class means, from the parameters of its docstring.

    Parameters
    ----------
    record : type
        The data class.

    Returns
    -------
    dict of str to str
        By the name of the parameter.
    """
    section = _PARAMETERS.search(inspect.getdoc(record) or "")
    found: dict[str, str] = {}
    for entry in _ENTRY.finditer(section.group(1) if section else ""):
        # What a script writes as None is what a file leaves out.
        says = re.sub(r"\bNone (?=\w)", "left out, it ", " ".join(entry.group(3).split()))
        says = re.sub(r"(^|\. )left", r"\1Left", says)
        found.update((name.strip(), says) for name in entry.group(1).split(","))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One key of a table, as a reference shows it.

    Parameters
    ----------
    name : str
        The key.
    unit : str
        Unit of its number; empty where it has none.
    default : str
        What is used where the key is left out, as a file would state it; `(needed)` where it must be stated;
        empty where leaving it out means something else.
    takes : str
        The kind of value, or the words that it may be; empty where the meaning says it.
    span : str
        The range of its number in words; empty where it has none.
    inch_key : str
        The key that states it in inch units; empty where there is none.
    meaning : str
        What it means.
    matters : str
        What hangs on it where it is left out; empty where nothing does.
    """

    name: str
    unit: str
    default: str
    takes: str
    span: str
    inch_key: str
    meaning: str
    matters: str = ""

    @property
    def facts(self) -> tuple[str, ...]:
        """All that is known of its value, each in a few words."""
        inch = f"in inch units: {self.inch_key}" if self.inch_key else ""
        return tuple(text for text in (self.takes, self.span, inch) if text)


def keys_of(table: str) -> Iterator[Key]:
    """Yield the keys of a table of a set-up, in the order of its data class.

    Parameters
    ----------
    table : str
        Its name, a key of `RECORD_OF`.

    Yields
    ------
    Key
        Not those that tables of their own state.
    """
    yield from keys_of_record(RECORD_OF[table], BY_OTHER_KEYS.get(table, ()))


def keys_of_record(record: type, without: Collection[str] = ()) -> Iterator[Key]:
    """Yield the keys of a table by its data class, in its order.

    Parameters
    ----------
    record : type
        The data class.
    without : collection of str
        Fields that other keys state.

    Yields
    ------
    Key
        In metric units, with the inch key beside.
    """
    yield from (key for key in _all_keys(record) if key.name not in without)


@cache
def _all_keys(record: type) -> tuple[Key, ...]:
    """Return the key of each field of a data class: a reference asks for them again for every word."""
    meanings, types = meanings_of(record), types_of(record)

    def key_of(field: Field[Any]) -> Key:
        rule = allowed_in(field)
        return Key(
            name=field.name,
            unit=metric_unit(field.name),
            default=_default(field),
            takes=_takes(field, _kind_words(types[field.name])),
            span="" if rule is None else rule.range_said(),
            inch_key=inch_key(field.name) or "",
            meaning=meanings.get(field.name, ""),
            matters="" if rule is None else rule.matters,
        )

    return tuple(key_of(field) for field in own_fields(record))


def _kind_words(hint: Any) -> str:
    """Return the kind of value of a field; of a list of lists nothing is told but its meaning."""
    nested = any(get_origin(member) is tuple for member in get_args(hint))
    return "anything" if get_origin(hint) is tuple and nested else kind_of(hint)


def purpose_of(table: str) -> str:
    """Return in one line what a table states.

    Parameters
    ----------
    table : str
        Its name, a key of `RECORD_OF`.

    Returns
    -------
    str
        First line of the docstring of its data class.
    """
    return purpose_of_record(RECORD_OF[table])


def purpose_of_record(record: type) -> str:
    """Return in one line what a table of a data class states.

    Parameters
    ----------
    record : type
        A data class with a docstring.

    Returns
    -------
    str
        First line of its docstring.
    """
    return (inspect.getdoc(record) or "").splitlines()[0]


def heading(table: str) -> str:
    """Return how a table is opened in a file.

    Parameters
    ----------
    table : str
        Its name, a key of `RECORD_OF`.

    Returns
    -------
    str
        With its brackets: `[wheel]`, `[[cut]]`.
    """
    return _HEADS.get(table) or (f"[[{table}]]" if table in (*LISTS, "measurement") else f"[{table}]")


def _default(field: Field[Any]) -> str:
    """Return the default as a file would state it; nothing where leaving it out means something else."""
    if field.default is MISSING and field.default_factory is MISSING:
        return NEEDED
    value = field.default if field.default is not MISSING else None
    if value is None or value == ():
        return ""
    return _written(value)


def _written(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, tuple):
        return f"[{', '.join(_written(v) for v in value)}]"
    return f"{value:_}" if isinstance(value, int) else f"{value:g}"


def _takes(field: Field[Any], kind: str) -> str:
    """Return the words that a value may be, or else its kind."""
    rule = allowed_in(field)
    if rule is not None and rule.words:
        return ("list of " if kind == "texts" else "") + " | ".join(f'"{w}"' for w in rule.words)
    return {**_KINDS, **_LISTS}.get(kind, "")


Schema = dict[str, Any]

DRAFT = "http://json-schema.org/draft-07/schema#"
"""The draft that editors of TOML know."""

TEXT: Schema = {"type": "string"}
"""Any text."""

_NAME: Schema = {"type": "string", "pattern": f"^{NAME.pattern}$", "maxLength": MOST_NAME}
_NAMED = ("equipment", "body", "cut", "drill", "end_mill", "material", "finish")
_PLACED = ("body", "equipment")
_STEP = "step:"


def setup_schema() -> Schema:
    """Return the schema of a set-up.

    Returns
    -------
    Schema
        In the terms of `DRAFT`.
    """
    top = {name: _top(name) for name in ALL if name != "severity"}
    of_each = dict.fromkeys(CHECKS, reference("level"))
    top["severity"] = _object(of_each, "[severity]  What a no-go of a check counts as.")
    definitions = (
        {name: _table(name) for name in RECORDS}
        | shared_definitions()
        | {"level": {"enum": list(SEVERITIES)}}
    )
    return {
        **root_schema("Set-up of one grinding operation", top, definitions),
        "if": _not({"required": ["setup"], "properties": {"setup": {"required": ["shop"]}}}),
        "then": {"properties": {"wheel": _not({"required": ["name"]})}},
    }


def shop_schema() -> Schema:
    """Return the schema of a file of the shop.

    Returns
    -------
    Schema
        In the terms of `DRAFT`.
    """
    top = {name: _top(name) for name in SHOP_TABLES if name != "wheel"}
    top["wheel"] = list_of("wheel")
    needed = ("material", "finish", "wheel", "machine", "machine.flange", "machine.guard")
    definitions = {name: _table(name) for name in needed}
    definitions["wheel"]["required"] = ["name"]
    return root_schema("What stays the same in a shop from job to job", top, definitions)


def measurements_schema() -> Schema:
    """Return the schema of a file of measurements on a chuck.

    Returns
    -------
    Schema
        In the terms of `DRAFT`.
    """
    top = {
        "calibration": _top("calibration"),
        "equipment": {**list_of("equipment"), "minItems": 1, "maxItems": 1},
        "measurement": {**list_of("measurement"), "minItems": 2, "maxItems": MOST_MEASUREMENTS},
    }
    definitions = {
        name: _table(name) for name in (*MEASURED, "equipment", "body.seats")
    } | shared_definitions()
    chuck = definitions["equipment"]
    chuck["properties"]["kind"] = {"enum": list(CHUCKS)}
    chuck["allOf"] = list(_rules("equipment", CHUCKS))
    made = root_schema("What was measured on a magnetic chuck", top, definitions)
    return {**made, "required": list(top)}


SETUP_FILE = "setup.schema.json"
"""The file that ships with the schema of a set-up."""


def first_line(name: str = SETUP_FILE) -> str:
    """Return the comment that names a schema to an editor, as the first line of a TOML file.

    Parameters
    ----------
    name : str
        A file that ships with the program.

    Returns
    -------
    str
        Without a line break; the file is taken to lie beside the schema.
    """
    return f"#:schema ./{name}"


def root_schema(title: str, top: Mapping[str, Schema], definitions: Mapping[str, Schema]) -> Schema:
    """Return the schema of a whole file from what stands at its top and what that refers to.

    Parameters
    ----------
    title : str
        What the file is.
    top : mapping of str to Schema
        What each key at the top takes.
    definitions : mapping of str to Schema
        What they refer to, by name.

    Returns
    -------
    Schema
        Of an object that takes no other keys.
    """
    return {
        "$schema": DRAFT,
        "title": title,
        "description": "Made of the data classes that read the file; `fixturecheck explain KEY` tells more.",
        "type": "object",
        "properties": dict(top),
        "additionalProperties": False,
        "definitions": dict(definitions),
    }


def _top(name: str) -> Schema:
    """Return what stands under the name of a table at the top."""
    if name in LISTS:
        return list_of(name)
    return reference(name)


def list_of(name: str) -> Schema:
    """Return a list of tables that are each as a definition says.

    Parameters
    ----------
    name : str
        Name of the definition.

    Returns
    -------
    Schema
        Of an array of at most `MOST_ENTRIES`.
    """
    return {"type": "array", "items": reference(name), "maxItems": MOST_ENTRIES}


def reference(name: str) -> Schema:
    """Return what a definition says.

    Parameters
    ----------
    name : str
        Name of the definition.

    Returns
    -------
    Schema
        A `$ref` to it.
    """
    return {"$ref": f"#/definitions/{name}"}


def _not(schema: Schema) -> Schema:
    return {"not": schema}


def _object(properties: Mapping[str, Schema], description: str = "") -> Schema:
    """Return a table that takes these keys and no other."""
    made: Schema = {"type": "object", "properties": dict(properties), "additionalProperties": False}
    return {"description": description, **made} if description else made


def _table(name: str) -> Schema:
    """Return the schema of one table of a set-up."""
    record = RECORD_OF[name]
    others = BY_OTHER_KEYS.get(name, ())
    below = {f.name for f in own_fields(record) if f.name in others and _is_below(name, f)}
    special = {f.name: found for f in own_fields(record) if (found := _special(name, f)) is not None}
    made = record_schema(
        record, heading(name), special=special, without=set(others) - below, bare=below, rules=_rules(name)
    )
    if name == "wheel":
        made["properties"]["name"] = {**TEXT, "description": "A wheel of the shop's file that [setup] names."}
    return made


def record_schema(
    record: type,
    head: str,
    *,
    special: Mapping[str, Schema] = MappingProxyType({}),
    without: Collection[str] = (),
    bare: Collection[str] = (),
    rules: Iterable[Schema] = (),
) -> Schema:
    """Return the schema of a table that states a data class.

    Parameters
    ----------
    record : type
        The data class.
    head : str
        How the table is opened in a file.
    special : mapping of str to schema
        What keys take whose type does not say it.
    without, bare : collection of str
        Fields that are no keys of the table, and keys that are not described.
    rules : iterable of schema
        What the keys ask of each other.

    Returns
    -------
    Schema
        Of an object; what may be stated in inches has a key in either unit, of which one alone is allowed.
    """
    types = types_of(record)
    described = {key.name: key for key in keys_of_record(record, {*without, *bare})}
    properties: dict[str, Schema] = {}
    asked: list[Schema] = []
    required: list[str] = []
    for field in (f for f in own_fields(record) if f.name not in without):
        name = field.name
        value = special.get(name) or _of_type(types[name], allowed_in(field) or Allowed())
        properties[name] = _described(value, field, described.get(name))
        inch = inch_key(name)
        if inch is not None:
            properties[inch] = _inch(field, value, described.get(name))
            asked.append(_not({"required": [name, inch]}))
        if field.default is MISSING and field.default_factory is MISSING:
            if inch is None:
                required.append(name)
            else:
                asked.append({"anyOf": [{"required": [name]}, {"required": [inch]}]})
    asked += rules
    made = _object(properties, f"{head}  {purpose_of_record(record)}")
    return made | ({"required": required} if required else {}) | ({"allOf": asked} if asked else {})


def _is_below(name: str, field: Field[Any]) -> bool:
    """Tell whether a field that is a table of its own is written below this one, as `[machine.flange]` is."""
    return f"{name}.{field.name}" in RECORDS


def _rules(name: str, kinds: Collection[str] | None = None) -> Iterator[Schema]:
    """Yield what the keys of a table ask of each other."""
    if name == "body.seats":
        nest = {"required": ["rank"], "properties": {"rank": {"const": str(Rank.NEST)}}}
        yield {"anyOf": [{"required": ["on"]}, nest]}
    if name == "body":
        yield from _excluded("at", PLACING_KEYS)
        yield from _excluded("pitch", ["pitch_mm"])
        yield from _excluded("against", ["pitch_mm"])
        yield from _needing("count", GANG_KEYS[1:])
    if name == "equipment":
        yield from _excluded("at", ("seats", *FREE_KEYS))
        yield from _needing("seats", FREE_KEYS)
        for kind in (k for k in equipment().values() if kinds is None or k.name in kinds):
            of_it = {"required": ["kind"], "properties": {"kind": {"const": kind.name}}}
            yield {"if": of_it, "then": {"properties": {"params": _params(kind.params.values())}}}


def _excluded(key: str, others: Iterable[str]) -> Iterator[Schema]:
    """Yield that a key may not stand beside any of the others."""
    for other in _with_inch(others):
        yield _not({"required": [key, other]})


def _needing(key: str, others: Iterable[str]) -> Iterator[Schema]:
    """Yield that each of the others needs a key beside it."""
    for other in _with_inch(others):
        yield {"anyOf": [_not({"required": [other]}), {"required": [key]}]}


def _with_inch(keys: Iterable[str]) -> list[str]:
    """Return keys, each with the key that states it in inch units where there is one."""
    return [k for key in keys for k in (key, inch_key(key)) if k is not None]


def _params(params: Iterable[Param]) -> Schema:
    """Return the parameters of one kind of equipment."""
    made: dict[str, Schema] = {}
    rules = []
    for param in params:
        inch = inch_key(param.name)
        made[param.name] = {
            **_param(param),
            "description": _joined(
                param.says, metric_unit(param.name), param.allowed.range_said(), inch or ""
            ),
            "default": param.default,
        }
        if inch is not None:
            made[inch] = {
                **_within(_kind_of(param.default), param.allowed, inch_of=param.name),
                "description": _joined(param.says, "in", param.allowed.range_said(param.name), ""),
            }
            rules.append(_not({"required": [param.name, inch]}))
    return _object(made) | ({"allOf": rules} if rules else {})


def _param(param: Param) -> Schema:
    if param.is_material:
        return _one_of_ours(materials())
    if isinstance(param.default, str):
        return {"enum": list(param.options)} if param.options else dict(TEXT)
    return _within(_kind_of(param.default), param.allowed)


def _kind_of(value: object) -> str:
    return "integer" if isinstance(value, int) else "number"


def special_schema(table: str, key: str) -> Schema:
    """Return what a key of a table of a set-up takes whose type does not say it.

    Parameters
    ----------
    table : str
        Name of the table, a key of `RECORD_OF`.
    key : str
        One of its keys.

    Returns
    -------
    Schema

    Raises
    ------
    KeyError
        The type of the key says it.
    """
    found = next((_special(table, f) for f in own_fields(RECORD_OF[table]) if f.name == key), None)
    if found is None:
        raise KeyError(key)
    return found


def _special(table: str, field: Field[Any]) -> Schema | None:
    """Return what a key takes whose type does not say it; None where it does."""
    by_table: Mapping[tuple[str, str], Callable[[], Schema]] = {
        ("setup", "name"): lambda: {**TEXT, "maxLength": MOST_HEAD, "pattern": r"\S"},
        ("equipment", "kind"): lambda: {"enum": list(equipment())},
        ("equipment", "params"): lambda: {"type": "object"},
        ("machine", "guard"): lambda: {"anyOf": [{"const": False}, reference("machine.guard")]},
        ("holding", "calibrated"): lambda: dict(TEXT),
        ("material", "grinds_as"): lambda: {"enum": ["", *GRINDS_AS]},
        ("body", "material"): lambda: _one_of_ours(materials()),
        ("body", "faces"): lambda: _by_name(reference("face")),
        ("body", "finish"): lambda: {
            "anyOf": [
                _one_of_ours(finishes()),
                {"type": "object", "additionalProperties": _one_of_ours(finishes())},
            ]
        },
    }
    if (table, field.name) in by_table:
        return by_table[table, field.name]()
    if field.name == "name" and table in _NAMED:
        return dict(_NAME)
    if table in _PLACED and field.name in {"at", "rotate"}:
        return reference({"at": "point", "rotate": "turns"}[field.name])
    if table in _PLACED and field.name == "seats":
        return list_of("body.seats") | ({"minItems": 1} if table == "equipment" else {})
    if field.name == "source":
        return {**TEXT, "minLength": LEAST_SOURCE}
    if field.name == "along_mm":
        rule = allowed_in(field) or Allowed()
        return {"anyOf": [_within("number", rule), _numbers(_within("number", rule), least=1, most=3)]}
    return None


def _of_type(hint: Any, rule: Allowed) -> Schema:
    """Return what a field of a type takes, within its words and its range."""
    origin, args = get_origin(hint), get_args(hint)
    if origin is UnionType:
        return {"anyOf": [_of_type(member, rule) for member in args if member is not NoneType]}
    if isinstance(hint, type) and is_dataclass(hint):
        return reference(_name_of(hint))
    if origin is Mapping or (isinstance(origin, type) and issubclass(origin, Mapping)):
        each = _of_type(args[1], rule)
        by_name = {"type": "object", "additionalProperties": each}
        # One number stands for all names.
        return {"anyOf": [each, by_name]} if args[1] is float else by_name
    if origin is tuple:
        return _of_tuple(args, rule)
    if hint is str:
        return {"enum": list(rule.words)} if rule.words else dict(TEXT)
    if hint is bool:
        return {"type": "boolean"}
    return _within("integer" if hint is int else "number", rule)


def _of_tuple(args: Sequence[Any], rule: Allowed) -> Schema:
    each = _of_type(args[0], rule)
    if is_dataclass(args[0]):
        return {"type": "array", "items": each, "maxItems": MOST_ENTRIES}
    if args[-1] is Ellipsis:
        flat = args[0] is float
        return _numbers(each, most=rule.items) if flat else {"type": "array", "items": each}
    return _numbers(each, least=len(args), most=len(args))


def _numbers(each: Schema, *, least: int = 0, most: int) -> Schema:
    return {"type": "array", "items": each, "maxItems": most} | ({"minItems": least} if least else {})


def _name_of(record: type) -> str:
    return next(name for name, known in RECORD_OF.items() if known is record)


def _within(kind: str, rule: Allowed, *, inch_of: str | None = None) -> Schema:
    """Return a number within its range; in the unit of its inch key where that is asked."""
    span: Schema = {}
    for key, end in (("minimum", rule.least), ("maximum", rule.most)):
        if abs(end) != float("inf"):
            span[key] = end if inch_of is None else to_inch_key(end, key=inch_of)
    if rule.or_zero and rule.least > 0:
        return {"type": kind, "anyOf": [{"const": 0}, span]}
    return {"type": kind, **span}


def _inch(field: Field[Any], metric: Schema, key: Key | None) -> Schema:
    """Return what the inch key of a quantity takes: the same, with its range in inch units."""
    rule = allowed_in(field) or Allowed()
    name = field.name
    said = _joined(f"The same as {name}, in inch units.", "", rule.range_said(name), "")
    return {**_converted(metric, name), "description": said} if key else _converted(metric, name)


def _converted(schema: Any, key: str) -> Any:
    """Return a schema with the ends of its ranges in the unit of an inch key."""
    if isinstance(schema, dict):
        return {
            k: to_inch_key(v, key=key) if k in {"minimum", "maximum"} else _converted(v, key)
            for k, v in schema.items()
        }
    return [_converted(v, key) for v in schema] if isinstance(schema, list) else schema


def _one_of_ours(table: Iterable[str]) -> Schema:
    """Return a name that the shop has, or one of the user's own: editors offer the first."""
    return {"anyOf": [{"enum": list(table)}, dict(TEXT)]}


def _by_name(each: Schema) -> Schema:
    """Return a table with an entry for each name of the user's."""
    return {
        "type": "object",
        "patternProperties": {f"^{NAME.pattern}$": each},
        "propertyNames": {"maxLength": MOST_NAME},
        "additionalProperties": False,
    }


def shared_definitions() -> dict[str, Schema]:
    """Return what several keys take: a point, turns, and references to faces.

    Returns
    -------
    dict of str to Schema
        By `point`, `turns` and `face`.
    """
    place = {"type": "number", "minimum": PLACE_MM.least, "maximum": PLACE_MM.most}
    point = _numbers(place, least=3, most=3)
    letters = [letter for axis in AXES for letter in (axis, axis.upper())]
    angle = {"type": "number", "minimum": TURN_DEG.least, "maximum": TURN_DEG.most}
    turn = {
        "type": "array",
        "items": [{"anyOf": [{"enum": letters}, point]}, angle],
        "minItems": 2,
        "maxItems": 2,
    }
    text = {"type": "string", "maxLength": MOST_SELECTOR}
    step = {"type": "string", "maxLength": MOST_SELECTOR - len(_STEP)}
    one = {
        "anyOf": [
            {
                **_object({"near": point}, "The face nearest a point, in the body's own frame."),
                "required": ["near"],
            },
            {**_object({"select": text}, "A CadQuery selector."), "required": ["select"]},
            {**_object({"step": step}, "The face's name in the file."), "required": ["step"]},
            text,
        ]
    }
    several = {"type": "array", "items": one, "maxItems": MOST_REFERENCES}
    nested = {"type": "array", "items": {"anyOf": [one, several]}, "maxItems": MOST_REFERENCES}
    return {
        "point": point,
        "turns": {"anyOf": [{"type": "array", "items": turn, "maxItems": MOST_TURNS}, turn]},
        "face": {"anyOf": [one, nested]},
    }


def _described(value: Schema, field: Field[Any], key: Key | None) -> Schema:
    """Return what a key takes with its meaning, unit, default and range beside it."""
    if key is None:
        return value
    default = "" if key.default in {"", NEEDED} else f"default {key.default}"
    schema: Schema = {"description": _joined(key.meaning, key.unit, key.span, default)}
    if default:
        schema["default"] = field.default
    # What stands beside a $ref is not read, so the reference goes one step down.
    return schema | ({"allOf": [value]} if "$ref" in value else value)


def _joined(meaning: str, *facts: str) -> str:
    said = "; ".join(f for f in facts if f)
    return f"{meaning} ({said})" if said else meaning
