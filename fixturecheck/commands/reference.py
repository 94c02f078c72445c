"""`fixturecheck shop`, `keys`, `explain` and `schema`: look up what may be stated and what words mean."""

from __future__ import annotations

import argparse
import re
import textwrap
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from fixturecheck.checks import MODULES, description_of
from fixturecheck.commands.shared import Parser
from fixturecheck.commands.terminal import GO, NOT_COMPUTED, say
from fixturecheck.errors import SetupError
from fixturecheck.fields import shortened
from fixturecheck.files import shipped_table, uncited
from fixturecheck.names import close_to, nearest

_SHELVES = ("equipment", "materials", "finishes", "wheels")


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the commands and their options.

    Parameters
    ----------
    commands : subparsers action
        The commands that they join.
    """
    _add_lists(commands)
    _add_explain(commands)
    _add_schema(commands)


def _add_lists(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add both commands and their options."""
    shop = commands.add_parser(
        "shop",
        help="list the shop's equipment, materials, finishes and wheels",
        description="Lists what a set-up may name: kinds of equipment, materials, finishes and wheels.",
    )
    lists = f"one list only: {', '.join(_SHELVES)}"
    shop.add_argument("shelf", nargs="?", metavar="LIST", choices=_SHELVES, help=lists)
    shop.add_argument("name", nargs="?", help="one kind of equipment: its sizes, bodies, faces and places")
    shop.set_defaults(command=_shop)
    keys = commands.add_parser(
        "keys",
        help="list what may be stated in a set-up, with defaults and ranges",
        description="Lists what may be stated in a set-up, table by table, with defaults and ranges.",
    )
    keys.add_argument("table", nargs="?", metavar="TABLE", help="one table only, like cut or machine.guard")
    keys.set_defaults(command=_keys)


def _shop(options: argparse.Namespace) -> int:
    from fixturecheck.report.lists import SHELVES, equipment_text  # noqa: PLC0415 -- reads the tables

    if options.name is not None:
        if options.shelf != "equipment":
            raise SetupError(f"only equipment is listed by name; {options.shelf} are one list")
        return GO if say(equipment_text(options.name)) else NOT_COMPUTED
    chosen = [options.shelf] if options.shelf else list(_SHELVES)
    return GO if say("\n".join(SHELVES[name]() for name in chosen)) else NOT_COMPUTED


def _keys(options: argparse.Namespace) -> int:
    from fixturecheck.report.lists import keys_text  # noqa: PLC0415 -- reads the records of a set-up

    return GO if say(keys_text(options.table)) else NOT_COMPUTED


_WIDE = 100
_VERDICT = re.compile(r"^\s*(?:\d+\s+)?(?:\S\s+)?(?:GO|CAUTION|NO-GO|UNKNOWN)\b[^:,]*?\s+(?=[a-z])")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Topic:
    """Something that can be explained: what it is, and what there is to say of it."""

    what: str
    lines: Callable[[], Iterator[str]]


def _add_explain(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options."""
    explain = commands.add_parser(
        "explain",
        help="say what a key, a check or a finding means",
        description="Says what a key of a set-up, a table, a check, a kind of finding or a kind of equipment "
        "means. The id of a finding and a line of findings as a terminal shows it are taken, too; "
        "put them in quotes. Alone it lists "
        "what there is.",
    )
    explain.add_argument(
        "topic", nargs="*", metavar="TOPIC", help="like stock_mm, cut.floor, seat, 'wheel hits'"
    )
    explain.set_defaults(command=_explain)


def _explain(options: argparse.Namespace) -> int:
    text = " ".join(options.topic).strip()
    lines = _all_topics() if not text else _topic_lines(text)
    return GO if say("\n".join(lines) + "\n") else NOT_COMPUTED


def _topic_lines(text: str) -> Iterator[str]:
    """Yield what there is to say of all topics of a name, or of the finding that a line tells.

    Raises
    ------
    SetupError
        Nothing has the name.
    """
    topics, plain = _topics(), text.strip("[]").lower()
    found = topics.get(text) or topics.get(plain) or _of_finding(text)
    if not found:
        near = (
            nearest(plain, topics)
            if close_to(plain, topics)
            else "`fixturecheck explain` lists what there is"
        )
        raise SetupError(f"nothing is called {shortened(text)}; {near}")
    for number, topic in enumerate(found):
        if number:
            yield ""
        yield topic.what
        for line in topic.lines():
            yield from textwrap.wrap(line, _WIDE, initial_indent="  ", subsequent_indent="    ")


def _of_finding(text: str) -> list[_Topic]:
    """Return kind and check of a finding: of its id, of `check, kind`, or of a line of a terminal."""
    if "/" in text and text.split("/", maxsplit=1)[0] in MODULES:
        return _of_id(text)
    line = _VERDICT.sub("", text, count=1).strip()
    check = next((c for c in MODULES if re.match(rf"{c}\b", line)), None)
    if check is None:
        return []
    rest = line.removeprefix(check).lstrip()
    of_check = [dict(_checks())[check]]
    if not rest.startswith(","):
        # Told as it was found, `seat SUBJECT: sentence`: that names no kind.
        return of_check if rest and line != text else []
    kinds = [str(kind) for kind in _kinds() if rest[1:].lstrip().startswith(str(kind))]
    return [dict(_kind_topics())[max(kinds, key=len)], *of_check] if kinds else []


def _of_id(text: str) -> list[_Topic]:
    """Return the kinds that answer the question of an id, `check/question/...`, and the check."""
    from fixturecheck.result.grouping import kinds_of  # noqa: PLC0415 -- only this command needs it

    check, question, *_ = text.split("/")
    asked = re.split(r"[:@~]", question)[0].replace("-", " ")
    kinds, topics = kinds_of(check, asked), dict(_kind_topics())
    return [*(topics[kind] for kind in kinds), dict(_checks())[check]] if kinds else []


def _topics() -> dict[str, list[_Topic]]:
    """Return what can be explained, by name; one name may mean several things."""
    found: dict[str, list[_Topic]] = {}
    for name, topic in (*_tables(), *_keys_explain(), *_checks(), *_kind_topics(), *_equipment(), *_sizes()):
        found.setdefault(name, []).append(topic)
    return found


def _all_topics() -> Iterator[str]:
    """Yield the names of all that can be explained but the keys, which `keys` lists."""
    for what, topics in (
        ("checks", _checks()),
        ("tables (their keys: fixturecheck keys TABLE)", _tables()),
        ("kinds of findings", _kind_topics()),
        ("equipment", _equipment()),
    ):
        yield what
        names = ", ".join(dict.fromkeys(name for name, _ in topics))
        yield from textwrap.wrap(
            names, _WIDE, initial_indent="  ", subsequent_indent="  ", break_on_hyphens=False
        )
    yield "keys: any key of a set-up, alone or with its table, as stock_mm or cut.stock_mm"


def _tables() -> Iterator[tuple[str, _Topic]]:
    from fixturecheck.report.lists import JOB_RECORDS, of_table  # noqa: PLC0415 -- reads the records
    from fixturecheck.setup.schema import RECORD_OF  # noqa: PLC0415 -- the same

    def of(table: str) -> Callable[[], Iterator[str]]:
        def lines() -> Iterator[str]:
            _, purpose, keys = of_table(table)
            yield purpose
            yield f"keys: {', '.join(key.name for key in keys)}"
            yield f"each key: fixturecheck keys {table}"

        return lines

    for table in (*RECORD_OF, *JOB_RECORDS):
        whose = "job" if table in JOB_RECORDS else "set-up"
        yield table, _Topic(what=f"{of_table(table)[0]}, a table of a {whose}", lines=of(table))
    severity = _Topic(what="[severity], a table of a set-up", lines=_severity)
    yield "severity", severity


def _severity() -> Iterator[str]:
    yield "What a no-go of a check counts as."
    yield f"keys: {', '.join(MODULES)}"
    yield "each is go, caution or no-go"


def _keys_explain() -> Iterator[tuple[str, _Topic]]:
    from fixturecheck.report.lists import JOB_RECORDS, of_table  # noqa: PLC0415 -- reads the records
    from fixturecheck.setup.schema import NEEDED, RECORD_OF, Key  # noqa: PLC0415 -- the same
    from fixturecheck.units import inch_key  # noqa: PLC0415 -- with them

    def of(key: Key) -> Callable[[], Iterator[str]]:
        def lines() -> Iterator[str]:
            yield key.meaning
            if key.unit:
                yield f"unit: {key.unit}"
            if key.default:
                yield "must be stated" if key.default == NEEDED else f"default: {key.default}"
            takes = [text for text in (key.takes, key.span) if text]
            yield from ([f"takes: {'; '.join(takes)}"] if takes else [])
            yield from ([f"in inch units: {key.inch_key}"] if key.inch_key else [])
            if key.matters:
                yield f"what depends on it: {key.matters}"

        return lines

    for table in (*RECORD_OF, *JOB_RECORDS):
        head, _, keys = of_table(table)
        for key in keys:
            topic = _Topic(what=f"{key.name}, a key of {head}", lines=of(key))
            for name in (key.name, inch_key(key.name)):
                if name is not None:
                    yield name, topic
                    yield f"{table}.{name}", topic


def _checks() -> Iterator[tuple[str, _Topic]]:
    def of(check: str) -> Callable[[], Iterator[str]]:
        def lines() -> Iterator[str]:
            found = description_of(check)
            yield found.question
            if found.before:
                yield uncited(found.before)
            yield from (f"{name}: {uncited(text)}" for name, text in found.sections)
            yield f"alone: fixturecheck check SETUP --only {check}"

        return lines

    for check in MODULES:
        yield check, _Topic(what=f"{check}, a check", lines=of(check))


def _kinds() -> Mapping[str, str]:
    """Return what each kind of finding means."""
    return shipped_table("wording", "kinds")


def _kind_topics() -> Iterator[tuple[str, _Topic]]:
    for kind, means in _kinds().items():
        yield kind, _Topic(what=f"{kind}, a kind of finding", lines=_saying(means))


def _saying(line: str) -> Callable[[], Iterator[str]]:
    return lambda: iter([line])


def _equipment() -> Iterator[tuple[str, _Topic]]:
    from fixturecheck.report.lists import equipment_lines  # noqa: PLC0415 -- reads the tables
    from fixturecheck.shop.catalogue import equipment  # noqa: PLC0415 -- reads the tables

    def of(kind: str) -> Callable[[], Iterator[str]]:
        def lines() -> Iterator[str]:
            yield from equipment_lines(kind)
            yield f"where its bodies and faces are: fixturecheck shop equipment {kind}"

        return lines

    for kind in equipment().values():
        yield kind.name, _Topic(what=f"{kind.name}, a kind of equipment", lines=of(kind.name))


def _sizes() -> Iterator[tuple[str, _Topic]]:
    from fixturecheck.report.lists import parameter_words  # noqa: PLC0415 -- reads the tables
    from fixturecheck.shop.catalogue import equipment  # noqa: PLC0415 -- reads the tables

    for kind in equipment().values():
        for param in kind.params.values():
            topic = _Topic(what=f"{param.name}, a size of {kind.name}", lines=_saying(parameter_words(param)))
            yield param.name, topic
            yield f"{kind.name}.{param.name}", topic


def _add_schema(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add the command and its options."""
    schema = commands.add_parser(
        "schema",
        help="write the schemas by which an editor completes and checks set-ups, jobs and studies",
        description="Writes the schemas of set-ups, jobs, the set-ups of a job, studies, the shop and "
        "measurements into a folder, and says which first line names them in a file there. Without a folder "
        "it says where those lie that came with the program.",
    )
    schema.add_argument("folder", nargs="?", metavar="FOLDER", type=Path, help="where the set-ups are")
    schema.set_defaults(command=_schema)


def _schema(options: argparse.Namespace) -> int:
    from fixturecheck.schemas import SCHEMAS, put_into, shipped  # noqa: PLC0415 -- the records
    from fixturecheck.setup.schema import first_line  # noqa: PLC0415 -- the records

    if options.folder is None:
        return GO if say("".join(f"{shipped(name)}\n" for name in SCHEMAS)) else NOT_COMPUTED
    if not options.folder.is_dir():
        raise SetupError(f"{options.folder} is not a folder; give the one in which the set-ups are")
    written = put_into(options.folder)
    lines = [f"{path}: files begin with {first_line(path.name)}\n" for path in written]
    return GO if say("".join(lines)) else NOT_COMPUTED
