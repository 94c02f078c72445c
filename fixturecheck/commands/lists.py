"""`fixturecheck shop` and `fixturecheck keys`: what the shop has, and what may be stated."""

from __future__ import annotations

import argparse

from fixturecheck.commands.shared import (
    Parser,
)
from fixturecheck.commands.terminal import GO, NOT_COMPUTED, say
from fixturecheck.errors import SetupError

_SHELVES = ("equipment", "materials", "finishes", "wheels")


def add(commands: argparse._SubParsersAction[Parser]) -> None:
    """Add both commands and their options."""
    shop = commands.add_parser("shop", help="list the shop's equipment, materials, finishes and wheels")
    shop.add_argument("shelf", nargs="?", choices=_SHELVES, help="one list only")
    shop.add_argument("name", nargs="?", help="one kind of equipment: its sizes, bodies, faces and places")
    shop.set_defaults(command=_shop)
    keys = commands.add_parser("keys", help="list what may be stated in a set-up, with defaults and ranges")
    keys.add_argument("table", nargs="?", metavar="TABLE", help="one table only, like cut or machine.guard")
    keys.set_defaults(command=_keys)


def _shop(options: argparse.Namespace) -> int:
    from fixturecheck.report.lists import SHELVES, equipment_told  # noqa: PLC0415 -- reads the tables

    if options.name is not None:
        if options.shelf != "equipment":
            message = f"only equipment is listed by name; {options.shelf} are one list"
            raise SetupError(message)
        return GO if say(equipment_told(options.name)) else NOT_COMPUTED
    chosen = [options.shelf] if options.shelf else list(_SHELVES)
    return GO if say("\n".join(SHELVES[name]() for name in chosen)) else NOT_COMPUTED


def _keys(options: argparse.Namespace) -> int:
    from fixturecheck.report.lists import keys_told  # noqa: PLC0415 -- reads the records of a set-up

    return GO if say(keys_told(options.table)) else NOT_COMPUTED
