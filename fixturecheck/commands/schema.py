"""`fixturecheck schema`: the JSON Schemas that let an editor complete and check TOML files."""

from __future__ import annotations

import argparse
from pathlib import Path

from fixturecheck.commands.shared import (
    Parser,
)
from fixturecheck.commands.terminal import GO, NOT_COMPUTED, say
from fixturecheck.errors import SetupError


def add(commands: argparse._SubParsersAction[Parser]) -> None:
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
        message = f"{options.folder} is not a folder; give the one in which the set-ups are"
        raise SetupError(message)
    written = put_into(options.folder)
    lines = [f"{path}: files begin with {first_line(path.name)}\n" for path in written]
    return GO if say("".join(lines)) else NOT_COMPUTED
