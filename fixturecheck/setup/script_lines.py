"""Where in a script, and in the modules that it imports, the things of a set-up are stated."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from fixturecheck.faceref import FaceRef
from fixturecheck.result.finding import Origin
from fixturecheck.setup.model import Setup
from fixturecheck.setup.reader import TextSpot


def origins_in_script(setup: Setup, files: Iterable[tuple[str, Path]]) -> dict[tuple[str, ...], Origin]:
    """Return where a set-up's bodies, equipment, cuts, clamps and seats stand in a script.

    A thing stands where a call of its kind is given its name: `Cut(name="top")`. Else any call that is given
    the name makes it, else the name is mentioned; the first of several.

    Parameters
    ----------
    files : iterable of (str, Path)
        The script, then the modules that it imported: how each is called, and where it is.
    """
    files = list(files)
    holding = setup.holding
    named: list[tuple[str, Iterable[Any]]] = [
        ("body", setup.bodies), ("cut", setup.cuts), ("drill", setup.drills), ("end_mill", setup.end_mills)
    ]  # fmt: skip
    if holding is not None:
        named += [("clamp", holding.clamps), ("mill", holding.milling)]
    wanted = {(kind, thing.name) for kind, things in named for thing in things}
    wanted |= {("equipment", b.group) for b in setup.bodies if b.group}
    found: dict[tuple[str, ...], Origin] = {(): Origin(file=files[0][0])} if files else {}
    mentions: list[tuple[int, str, _Mention]] = []
    for number, (called, path) in enumerate(files):
        texts, seats = _read(path.read_bytes())
        mentions += [(number, called, text) for text in texts]
        for key, line in seats:
            found.setdefault(key, Origin(file=called, line=line))
    for kind, name in wanted:
        of_it = [m for m in mentions if m[2].names.fullmatch(name)]
        if of_it:
            _, called, text = min(of_it, key=lambda m: (m[2].rank(kind), m[0], m[2].line))
            found[kind, name] = Origin(file=called, line=text.line)
    return found


def operations_in_script(files: Iterable[tuple[str, Path]]) -> dict[str, str]:
    """Return where a script states a job, and each operation whose number is written out.

    Parameters
    ----------
    files : iterable of (str, Path)
        The script, then the modules that it imported: how each is called, and where it is.

    Returns
    -------
    dict of str to TextSpot
        By `job`, the script; by the number of an operation, the call that states it, and each of its keys.
    """
    found: dict[str, str] = {}
    for called, path in files:
        found.setdefault("job", TextSpot(called))
        for node in ast.walk(ast.parse(path.read_bytes())):
            if isinstance(node, ast.Call) and _called(node) == "Operation":
                keys = {word.arg: word.value for word in node.keywords}
                number = keys.get("number")
                if isinstance(number, ast.Constant) and isinstance(number.value, int):
                    found.setdefault(f"{number.value}", TextSpot(called, number.lineno))
                    for key, value in keys.items():
                        found.setdefault(f"{number.value}.{key}", TextSpot(called, value.lineno))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mention:
    """A text in a script: what it reads, and the call that it names something to."""

    names: re.Pattern[str]
    exact: bool
    call: str | None
    line: int

    def rank(self, kind: str) -> int:
        """Return how far it is from making a thing of a kind; 0 makes it."""
        if self.call is None:
            return 4 + (not self.exact)
        made = kind.replace("_", "") in self.call.replace("_", "").lower()
        return (0 if made else 2) + (not self.exact)


@lru_cache(maxsize=64)
def _read(script: bytes) -> tuple[tuple[_Mention, ...], tuple[tuple[tuple[str, ...], int], ...]]:
    """Return the texts of a script, and its seats; a script is edited less often than it is run."""
    tree = ast.parse(script)
    return tuple(_mentions(tree)), tuple(_seats(tree))


def _mentions(tree: ast.AST) -> Iterator[_Mention]:
    """Yield the texts of a script; what a text is put together with counts as anything."""
    given: dict[ast.AST, str] = {}
    inside: set[ast.AST] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            named = [word.value for word in node.keywords if word.arg == "name"]
            given |= dict.fromkeys(named or node.args[:1], _called(node))
        elif isinstance(node, ast.JoinedStr):
            inside |= set(node.values)
    for node in ast.walk(tree):
        parts = [] if node in inside else _parts(node)
        if any(parts):
            yield _Mention(
                names=re.compile("".join(".+" if part is None else re.escape(part) for part in parts)),
                exact=None not in parts,
                call=given.get(node),
                line=getattr(node, "lineno", 1),
            )


def _parts(node: ast.AST) -> list[str | None]:
    """Return the pieces of a text, None for what is put in; none of what is no text."""
    pieces = node.values if isinstance(node, ast.JoinedStr) else [node]
    texts = [p.value if isinstance(p, ast.Constant) and isinstance(p.value, str) else None for p in pieces]
    return texts if isinstance(node, ast.JoinedStr) or any(texts) else []


def _called(call: ast.Call) -> str:
    """Return the last name of what is called: `Cut` of `fixturecheck.Cut(...)`."""
    function = call.func
    if isinstance(function, ast.Attribute):
        return function.attr
    return function.id if isinstance(function, ast.Name) else ""


def _seats(tree: ast.AST) -> Iterator[tuple[tuple[str, ...], int]]:
    """Yield the seats of a script whose faces are written out, each with its line."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _called(node) == "Seat":
            said = {w.arg: w.value.value for w in node.keywords if isinstance(w.value, ast.Constant)}
            if {"body", "face", "on", "on_face"} <= said.keys():
                own, other = (str(said["body"]), str(said["face"])), (str(said["on"]), str(said["on_face"]))
                yield ("seat", FaceRef.of(*own), FaceRef.of(*other)), node.lineno
