"""No data in prose: text is taken apart only by what reads it from outside.

Solvers return numbers and enums, and sentences are made of them at the end. Whoever needs them is
given the data. So nothing but the modules of READERS may split text or look into it.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest

from tests.meta.source import ROOT, Module, faults, modules

READERS = {
    # Text from outside.
    "commands.cache": "the name of a kept function, shown without that of the package",
    "commands.compare": "arguments of the command line",
    "commands.reference": "what somebody asks about, and lines of findings that they copied from a terminal",
    "commands.live_page": "the page as written, into which the news are put",
    "commands.shared": "arguments of the command line",
    "commands.terminal": "white space, to put a message on one line",
    "kernel.script": "overrides of a script's parameters",
    "kernel.step": "STEP files",
    "kernel.worker": "what a child process wrote",
    "report.pictures.painter": "what the process that draws wrote",
    "pytest_plugin": "the ending of a set-up's file",
    "report.build_files": "white space, to put a sentence on one line",
    "study.store": "rows of a study, a line each",
    "runs.given": "revisions as REV:path, and what git answers",
    "report.solids": "STEP files as written, and file names that a system keeps for itself",
    "report.lists": "the brackets round a table's name",
    "checks.described": "docstrings of the checks, from which the reference and `explain` are made",
    "start.assembly": "names of shapes in a file that a check wrote",
    "setup.document": "a TOML file as text, and keys as `--set` takes them and as `guessed` lists them",
    "setup.facts": "the unit at the end of a key",
    "setup.schema": "docstrings of the data classes, from which the reference of keys is made",
    "setup.make": "references to faces as a set-up states them",
    "setup.reader": "the kinds of value that a key takes",
    "setup.text": "names that a set-up gives",
    "shop.catalogue": "the table of equipment",
    "shop.wheel_speed": "the marking of a wheel",
    "shop.tables": "tables and their sources",
    # Identifiers of ours.
    "faceref": "the one place that puts `body.face` together and takes it apart",
    "report.json": "the unit at the end of a field's name",
    "report.statements": "the unit at the end of a key",
    "names": "names that a set-up gives",
    "units": "the unit at the end of a key, and formats of numbers",
    # Typesetting: letters change, and nothing is learnt from them.
    "wording.groups": "the number at the end of a body's name, to sort pawl_2 before pawl_10",
    "wording.sentences": "the first letter and full stop of a sentence, and a quantity into number and unit",
}
"""Modules and rooms that may take text apart, each with what it reads."""

CUTS = {
    "endswith", "partition", "removeprefix", "removesuffix", "rpartition", "rsplit", "split", "splitlines",
    "startswith",
}  # fmt: skip
ARRAYS = {"np", "numpy"}


def _cuts(tree: ast.AST) -> Iterator[str]:
    """Yield the calls that take text apart, with their lines."""
    for node in ast.walk(tree):
        if not isinstance(node, ast.Attribute):
            continue
        of = node.value.id if isinstance(node.value, ast.Name) else ""
        if (node.attr in CUTS and of not in ARRAYS) or of == "re":
            yield f"line {node.lineno}: {of or '...'}.{node.attr}"


def _reads(name: str) -> bool:
    return any(name == reader or name.startswith(f"{reader}.") for reader in READERS)


def test_only_readers_take_text_apart() -> None:
    """Where this fails, pass the data, and make the sentence where it is shown."""
    assert faults(lambda m: _cuts(m.tree), (m for m in modules() if not _reads(m.name))) == {}


def test_every_reader_is_there_and_reads() -> None:
    """What is excused must need it, or the list hides the next one."""
    reading = {m.name for m in modules() if list(_cuts(m.tree))}
    idle = {r for r in READERS if not any(n == r or n.startswith(f"{r}.") for n in reading)}
    assert idle == set()


@pytest.mark.parametrize(
    ("line", "cuts"),
    [
        ('_, found, rest = says.partition("load: ")', True),
        ('upright = kind.endswith("turns")', True),
        ('free = [f.says.removeprefix(body + " ") for f in found]', True),
        ('shown = re.sub(r"mm2", "mm\u00b2", page)', True),
        ("parts = np.split(points, ends)", False),
        ("upright = motion.kind.upright", False),
    ],
)
def test_what_takes_text_apart_is_seen(line: str, cuts: bool) -> None:
    """The first four are what stood in the program once."""
    module = Module(name="report.x", path=ROOT / "fixturecheck/report/x.py", text=line, tree=ast.parse(line))
    assert bool(list(_cuts(module.tree))) is cuts
    assert not _reads(module.name)
