"""Libraries that are imported by others and seldom used, loaded when something of them is first asked for."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Sequence
from importlib.machinery import ModuleSpec
from types import ModuleType
from typing import Any

_NOTED = frozenset({"__path__", "__warningregistry__", "__wrapped__"})
"""What Python itself asks of every module, and a module in one file has none of."""
_SHOWS = "cadquery.vis"
"""What opens windows: it counts on all that draws being loaded."""


def put_off(name: str) -> None:
    """Let a library be loaded when something of it is first asked for.

    The kernel's bindings import all of VTK, hundreds of libraries, and use none of it unless a shape is
    handed over to it: a quarter of the time that cadquery takes to import.

    Parameters
    ----------
    name : str
        A module that is not within a package. One that is loaded, or is not there, stays as it is.
    """
    spec = None if name in sys.modules else importlib.util.find_spec(name)
    if spec is None or spec.loader is None:
        return
    module = importlib.util.module_from_spec(spec)

    def loaded(what: str) -> Any:
        """Load the library, unless it is only asked for what Python itself notes of a module."""
        if what in _NOTED:
            raise AttributeError(what)
        _load(module)
        return getattr(module, what)

    vars(module)["__getattr__"] = loaded
    sys.modules[name] = module
    sys.meta_path.insert(0, _Shown(module))


def _load(module: ModuleType) -> None:
    spec = module.__spec__
    if vars(module).pop("__getattr__", None) is not None and spec is not None and spec.loader is not None:
        spec.loader.exec_module(module)


class _Shown:
    """Loads what was put off as soon as a script is about to open a window; it finds nothing itself."""

    def __init__(self, module: ModuleType) -> None:
        self._module = module

    def find_spec(
        self, name: str, _path: Sequence[str] | None, _target: ModuleType | None = None
    ) -> ModuleSpec | None:
        if name == _SHOWS:
            sys.meta_path.remove(self)
            _load(self._module)
        return None
