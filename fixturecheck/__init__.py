"""fixturecheck: checks a surface-grinding set-up from its solids, before anything is cut.

Importing the package loads neither the kernel nor the renderer; the names below are fetched on first use.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fixturecheck.engine import check
    from fixturecheck.remedy.relief import relieve
    from fixturecheck.setup.holding import Clamp, Holding, Milling
    from fixturecheck.setup.load import load
    from fixturecheck.setup.make import body, equipment, place
    from fixturecheck.setup.model import Body, Cut, Machine, Seat, Setup
    from fixturecheck.setup.own import OwnShop, own_shop
    from fixturecheck.setup.relieving import Relieving
    from fixturecheck.setup.staging import Press, Push, Staging
    from fixturecheck.shop.wheels import Flange, Guard, Wheel
    from fixturecheck.tolerances import Tolerances

__version__ = "0.1.0"

_HOMES = {
    "Body": "fixturecheck.setup.model",
    "Clamp": "fixturecheck.setup.holding",
    "Cut": "fixturecheck.setup.model",
    "Flange": "fixturecheck.shop.wheels",
    "Guard": "fixturecheck.shop.wheels",
    "Holding": "fixturecheck.setup.holding",
    "Machine": "fixturecheck.setup.model",
    "Milling": "fixturecheck.setup.holding",
    "OwnShop": "fixturecheck.setup.own",
    "Press": "fixturecheck.setup.staging",
    "Push": "fixturecheck.setup.staging",
    "Relieving": "fixturecheck.setup.relieving",
    "Seat": "fixturecheck.setup.model",
    "Setup": "fixturecheck.setup.model",
    "Staging": "fixturecheck.setup.staging",
    "Tolerances": "fixturecheck.tolerances",
    "Wheel": "fixturecheck.shop.wheels",
    "body": "fixturecheck.setup.make",
    "check": "fixturecheck.engine",
    "equipment": "fixturecheck.setup.make",
    "load": "fixturecheck.setup.load",
    "own_shop": "fixturecheck.setup.own",
    "place": "fixturecheck.setup.make",
    "relieve": "fixturecheck.remedy.relief",
}

__all__ = [
    "Body", "Clamp", "Cut", "Flange", "Guard", "Holding", "Machine", "Milling", "OwnShop", "Press", "Push",
    "Relieving", "Seat", "Setup", "Staging", "Tolerances", "Wheel",
    "body", "check", "equipment", "load", "own_shop", "place", "relieve",
]  # fmt: skip


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    message = f"module 'fixturecheck' has no attribute {name!r}"
    raise AttributeError(message)
