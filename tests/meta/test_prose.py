"""No data in prose: text is taken apart only by what reads it from outside.

Solvers return numbers and enums, and sentences are made of them at the end. Whoever needs them is
given the data. So nothing but the modules of READERS may split text or look into it, and the rooms of SOLVERS
make no sentences but the messages of errors.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator, Mapping

import pytest

from tests.meta.source import ROOT, Module, faults, modules

READERS = {
    # Text from outside.
    "commands.cache": "the name of a kept function, shown without that of the package",
    "commands.compare": "arguments of the command line",
    "commands.reference": "what somebody asks about, and lines of findings that they copied from a terminal",
    "commands.watch": "the page as written, into which the news are put",
    "commands.shared": "arguments of the command line",
    "commands.terminal": "white space, to put a message on one line",
    "files": "sources, out of which the keys of works are left",
    "kernel.script": "overrides of a script's parameters, hidden files by the first sign of their names, "
    "and which unknown keyword Python complains of",
    "kernel.step": "STEP files",
    "kernel.worker": "what a child process wrote",
    "report.pictures.painter": "what the process that draws wrote",
    "pytest_plugin": "the ending of a set-up's file",
    "report.build_files": "white space, to put a sentence on one line",
    "study.store": "rows of a study, a line each",
    "runs.compare": "revisions as REV:path, and what git answers",
    "report.write": "STEP files as written, and file names that a system keeps for itself",
    "report.lists": "the brackets round a table's name",
    "checks": "docstrings of the checks, from which the reference and `explain` are made",
    "start.assembly": "names of shapes in a file that a check wrote",
    "setup.document": "a TOML file as text, and keys as `--set` takes them and as `guessed` lists them",
    "setup.facts": "the unit at the end of a key",
    "setup.schema": "docstrings of the data classes, from which the reference of keys is made",
    "setup.make": "references to faces as a set-up states them",
    "setup.reader": "the kinds of value that a key takes",
    "setup.outline": "the texts of a script, by which names are found in it",
    "setup.text": "names that a set-up gives",
    "shop.catalogue": "the table of equipment",
    "shop.wheels": "the marking of a wheel",
    # Identifiers of ours.
    "faceref": "the one place that puts `body.face` together and takes it apart",
    "report.json": "the unit at the end of a field's name",
    "report.statements": "the unit at the end of a key",
    "names": "names that a set-up gives",
    "units": "the unit at the end of a key, and formats of numbers",
    # Typesetting: letters change, and nothing is learnt from them.
    "wording.sentences": "the first letter and full stop of a sentence, a quantity into number and unit, and "
    "the number at the end of a body's name, to sort pawl_2 before pawl_10",
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


def _within(name: str, rooms: Iterable[str]) -> bool:
    return any(name == room or name.startswith(f"{room}.") for room in rooms)


def test_only_readers_take_text_apart() -> None:
    """Where this fails, pass the data, and make the sentence where it is shown."""
    assert faults(lambda m: _cuts(m.tree), (m for m in modules() if not _within(m.name, READERS))) == {}


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
    assert not _within(module.name, READERS)


SOLVERS = {
    "angles", "comparing", "contact", "dials", "drilling", "hardening", "hold", "holding", "machining",
    "magnet", "nesting", "placing", "process", "relief", "release", "result", "rigid", "sizes", "start",
    "statics", "tolerancing", "touching",
}  # fmt: skip
"""Rooms that compute: what they find is data, and `wording`, `report` or a check makes a sentence of it."""

ANSWERS = {"process.across", "process.load", "process.records", "process.text", "start.write"}
"""Of these rooms, the checks of a whole job, what refuses a job that cannot be, and what writes a file."""

PHRASES: Mapping[str, tuple[int, str]] = {
    "hold": (2, "why nothing is known"),
    "holding.remedies": (1, "what a block is made of"),
    "holding.failure_path": (3, "why nothing is known, and what the kernel is at"),
    "holding.wheel": (3, "what the kernel is at"),
    "machining.as_ground": (2, "what the kernel is at"),
    "machining.as_milled": (3, "what the kernel is at"),
    "machining.cutter_sweep": (1, "what the kernel is at"),
    "machining.wheel_path": (1, "a message"),
    "machining.detours": (1, "what the kernel is at"),
    "machining.end_mill": (2, "messages"),
    "machining.grinding": (1, "where the numbers of a pass come from"),
    "magnet.calibration": (2, "a message, and the indices of a sum"),
    "magnet.rating": (1, "the piece that a chuck is rated with"),
    "process.burrs": (1, "why nothing is known"),
    "process.run": (3, "why nothing is known"),
    "process.setups": (2, "what the kernel is at"),
    "relief.proposals": (1, "a line of code"),
    "result.hold": (2, "names of inputs as result.json holds them, members of an enumeration"),
    "sizes.answer": (1, "why nothing is known"),
    "start.assembly": (1, "the remark of a key"),
    "start.choose": (5, "messages"),
    "tolerancing.linear_rest": (1, "a message"),
    "touching": (6, "why nothing is known, and where the numbers come from"),
}
"""How many phrases modules of the solvers may still hold, and what they are; only ever lower it."""

_LEAST_WORDS = 5


def _phrases(tree: ast.AST) -> Iterator[str]:
    """Yield the texts of several words that are neither documentation nor the message of an error."""
    quiet: set[int] = set()
    for node in ast.walk(tree):
        if _is_quiet(node):
            quiet |= {id(inner) for inner in ast.walk(node)}
        if isinstance(node, ast.JoinedStr):
            quiet |= {id(part) for part in node.values}
    for node in ast.walk(tree):
        parts = node.values if isinstance(node, ast.JoinedStr) else [node]
        text = " ".join(p.value for p in parts if isinstance(p, ast.Constant) and isinstance(p.value, str))
        if id(node) not in quiet and len(re.findall(r"[a-zA-Z]{2,}", text)) >= _LEAST_WORDS:
            yield f"line {getattr(node, 'lineno', 0)}: {text}"


def _is_quiet(node: ast.AST) -> bool:
    """Whether a node is documentation or raises, or holds the message of an error."""
    if isinstance(node, ast.Assign):
        return any(isinstance(t, ast.Name) and t.id == "message" for t in node.targets)
    if isinstance(node, ast.Call):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        return name.endswith("Error") or name == "allowed"
    return isinstance(node, ast.Raise) or (
        isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)
    )


def test_what_computes_makes_no_sentences() -> None:
    """Where this fails, return the data, and make the sentence in `wording`."""
    solvers = (m for m in modules() if m.place in SOLVERS and not _within(m.name, ANSWERS))
    said = {m.name: list(_phrases(m.tree)) for m in solvers}
    assert {n: s for n, s in said.items() if len(s) > PHRASES.get(n, (0, ""))[0]} == {}
    assert {n: most for n, (most, _) in PHRASES.items() if len(said[n]) < most} == {}


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ('found.append(f"{name} has no face that is marked so")', True),
        ('WHY = "stands on the table and is taken as bolted to it"', True),
        ('message = f"{name} has no face that is marked so"', False),
        ('raise KernelError("the cut does not fit on the part")', False),
        ('label = f"{a} on {b}"', False),
    ],
)
def test_a_sentence_that_a_solver_makes_is_seen(line: str, says: bool) -> None:
    """The first two are what stood in the program once."""
    assert bool(list(_phrases(ast.parse(line)))) is says
