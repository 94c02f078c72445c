"""What must start at once does, and nothing leans on assertions."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from tests.meta.source import ROOT

HEAVY = (
    "OCP",
    "cadquery",
    "vtk",
    "vtkmodules",
    "numpy",
    "scipy",
    "shapely",
    "trimesh",
    "netgen",
    "PIL",
    "pint",
)


def _run(code: str, *flags: str) -> str:
    """What a fresh interpreter prints."""
    done = subprocess.run(
        [sys.executable, *flags, "-c", code],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def _loaded_after(code: str) -> set[str]:
    told = _run(f"{code}\nimport sys\nprint('loaded:', *sorted({{m.split('.')[0] for m in sys.modules}}))")
    return set(told.rsplit("loaded:", 1)[1].split())


def test_importing_the_package_and_its_doors_for_tests_loads_no_kernel_and_no_renderer() -> None:
    # pytest loads the plugin in every run of every project where this package is installed.
    doors = "import fixturecheck, fixturecheck.testing, fixturecheck.pytest_plugin"
    assert not _loaded_after(doors) & set(HEAVY)


def test_the_run_of_a_check_starts_the_drawing_process_before_anything_heavy_loads() -> None:
    assert not _loaded_after("import fixturecheck.runs.check") & set(HEAVY)


HELP = """
import sys
from fixturecheck.cli import main
try:
    main({arguments!r})
except SystemExit as left:
    assert left.code == {code}, left.code
"""


COMMANDS = [
    (["--help"], 0),
    (["--version"], 0),
    (["check", "--help"], 0),
    (["shop", "--help"], 0),
    (["new", "--help"], 0),
    (["chekc"], 2),
]


@pytest.mark.parametrize(("arguments", "code"), COMMANDS, ids=[" ".join(words) for words, _ in COMMANDS])
def test_help_and_mistakes_load_nothing_heavy(arguments: list[str], code: int) -> None:
    assert not _loaded_after(HELP.format(arguments=arguments, code=code)) & set(HEAVY)


def test_a_missing_setup_is_refused_before_anything_is_loaded() -> None:
    code = "from fixturecheck.cli import main\nassert main(['check', 'no_such_setup.py']) == 2"
    assert not _loaded_after(code) & set(HEAVY)


TYPO = """
from fixturecheck.cli import main
assert main(['check', {path!r}, '--out', {out!r}]) == 2
"""


def test_a_slip_of_the_pen_is_answered_before_the_kernel_loads(tmp_path: Path) -> None:
    path = tmp_path / "typo.toml"
    path.write_text("[wheel]\ndiametre_mm = 100\n")
    told = TYPO.format(path=str(path), out=str(tmp_path / "out"))
    assert not _loaded_after(told) & set(HEAVY)


BOX_ON_BOX = """
import cadquery as cq
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.kernel.shapes import Placed
from fixturecheck.tolerances import Tolerances
box = cq.Workplane().box(10, 10, 10, centered=False).val()
names = tuple(f"f{i}" for i in range(6))
bodies = [
    Placed(name="low", solid=box, face_names=names),
    Placed(name="high", solid=box, face_names=names, at=cq.Location((4, 0, 10))),
]
patches = find_contacts(bodies, Tolerances()).patches
print(__debug__, *(round(p.contact.area_mm2, 6) for p in patches if p.contact.kind == "area"))
"""


def test_the_contact_map_is_the_same_without_assertions() -> None:
    # 6 x 10 of the two faces lie on each other.
    assert _run(BOX_ON_BOX).split() == ["True", "60.0"]
    assert _run(BOX_ON_BOX, "-O").split() == ["False", "60.0"]
