"""Scripts: parameters, what they may import, and the line on which they failed."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from fixturecheck.setup.load import load
from tests.setup.values import refused

HEAD = """\
import cadquery as cq
from fixturecheck import Setup, body, place

size_mm = 10.0
shift_mm = -2.5
count = 2
long = False
material = "steel_1018"
at_mm = (0.0, -1.0, 3.0)

"""
TAIL = """\
blocks = [
    body(f"block_{n}", cq.Workplane().box(size_mm, 10, 50 if long else 5), at=at_mm, material=material)
    for n in range(count)
]
setup = Setup(name="blocks", bodies=blocks)
"""


@pytest.fixture
def script(tmp_path: Path) -> Path:
    path = tmp_path / "blocks.py"
    path.write_text(HEAD + TAIL)
    return path


def test_parameters_of_every_kind_can_be_set(script: Path) -> None:
    overrides = {"size_mm": "12.5", "count": "3", "long": "yes", "material": "brass", "at_mm": "(1, 2, -3.5)"}
    setup = load(script, overrides)
    assert [b.name for b in setup.bodies] == ["block_0", "block_1", "block_2"]
    one = setup.body("block_0")
    assert one.solid.Volume() == pytest.approx(12.5 * 10 * 50)
    assert one.material == "brass"
    assert one.at.toTuple()[0] == (1.0, 2.0, -3.5)


def test_parameters_may_be_negative(script: Path) -> None:
    script.write_text(script.read_text().replace("at=at_mm", "at=(shift_mm, 0, 0)"))
    assert load(script).body("block_0").at.toTuple()[0][0] == -2.5
    assert load(script, {"shift_mm": "-7"}).body("block_0").at.toTuple()[0][0] == -7.0


def test_without_overrides_the_script_keeps_its_own(script: Path) -> None:
    load(script, {"count": "3"})
    assert len(load(script).bodies) == 2


@pytest.mark.parametrize(
    ("overrides", "message"),
    [
        ({"sise_mm": "3"}, "blocks.py has no parameter 'sise_mm' to set; did you mean 'size_mm'"),
        ({"size_mm": "wide"}, "--set size_mm=wide: blocks.py needs a number there, like 10.0"),
        ({"size_mm": "nan"}, "--set size_mm=nan: blocks.py needs a number there, like 10.0"),
        ({"size_mm": "1e999"}, "--set size_mm=1e999: blocks.py needs a number there, like 10.0"),
        ({"long": "perhaps"}, "--set long=perhaps: blocks.py needs a boolean there, like False"),
        ({"at_mm": "1, 2"}, "blocks.py, line 12: at must be three finite numbers; got (1, 2)"),
    ],
)
def test_override_that_does_not_fit(script: Path, overrides: dict[str, str], message: str) -> None:
    assert refused(script, overrides).startswith(message)


def test_no_expression_is_run_from_an_override(script: Path, tmp_path: Path) -> None:
    mark = tmp_path / "mark"
    refused(script, {"size_mm": f"__import__('pathlib').Path({str(mark)!r}).touch()"})
    assert not mark.exists()


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("x = 1 / 0", "blocks.py, line 10: ZeroDivisionError: division by zero"),
        ("raise KeyError", "blocks.py, line 10: KeyError"),
        ("raise ValueError('two\\nlines')", "blocks.py, line 10: ValueError: two lines"),
        ("import sys; sys.exit(3)", "blocks.py, line 10: SystemExit: 3"),
        (
            "cq.Workplane().box(1, 1, 1).edges('|Q').val()",
            "blocks.py, line 10: selector '|Q' does not parse; write it like '>Z' or '|Y'",
        ),
        (
            "cq.Workplane().box(1, 1, 1).edges('|Z').chamfer(9)",
            "blocks.py, line 10: the geometry kernel could not do this (StdFail_NotDone: BRep_API: command "
            "not done); look whether a chamfer or fillet is larger than its faces",
        ),
        (
            "body('a', cq.Workplane().box(1, 1, 1), finnish='ground')",
            "blocks.py, line 10: body() takes no 'finnish'; did you mean 'finish'",
        ),
        ("dict(1, finnish=2)", "blocks.py, line 10: TypeError: "),
        (
            "body('a', cq.Workplane().box(1, 1, 1), faces={'f': '>Q'})",
            "blocks.py, line 10: body 'a', face 'f': ",
        ),
        ("if True", "blocks.py, line 10: SyntaxError: expected ':'"),
        (
            "import no_such_module",
            "blocks.py, line 10: ModuleNotFoundError: No module named 'no_such_module'",
        ),
    ],
)
def test_a_script_that_raises_is_named_with_its_own_line(script: Path, line: str, message: str) -> None:
    script.write_text(HEAD.rstrip("\n") + "\n" + line + "\n" + TAIL)
    assert refused(script).startswith(message)


def test_an_error_in_a_module_beside_it_names_that_module(script: Path, tmp_path: Path) -> None:
    (tmp_path / "shapes_here.py").write_text("def draw():\n    return 1 / 0\n")
    script.write_text("import shapes_here\nshapes_here.draw()\n")
    assert refused(script) == "shapes_here.py, line 2: ZeroDivisionError: division by zero"


def test_modules_beside_it_are_sources_and_are_forgotten(tmp_path: Path) -> None:
    """Two folders may each have a module of one name; the second script gets its own."""
    for name, size in (("a", 10), ("b", 20)):
        folder = tmp_path / name
        folder.mkdir()
        (folder / "shapes_here.py").write_text(f"SIZE_MM = {size}\n")
        (folder / "one.py").write_text(
            "import cadquery as cq\nfrom fixturecheck import Setup, body\nfrom shapes_here import SIZE_MM\n"
            "setup = Setup(name='one', bodies=[body('a', cq.Workplane().box(SIZE_MM, 1, 1))])\n"
        )
    path = list(sys.path)
    for name, size in (("a", 10), ("b", 20)):
        setup = load(tmp_path / name / "one.py")
        assert setup.body("a").solid.Volume() == pytest.approx(size)
        assert [s.path for s in setup.sources] == ["one.py", "shapes_here.py"]
    assert "shapes_here" not in sys.modules
    assert sys.path == path


def test_part_files_count_from_the_scripts_folder(
    gang: dict[str, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    script = tmp_path / "one.py"
    script.write_text(
        "from fixturecheck import Setup, body\n"
        "one = body('a', 'pawl.step', faces={'back': 'step:Corner (no function)'})\n"
        "setup = Setup(name='one', bodies=[one])\n"
    )
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    setup = load(script)
    assert sorted(setup.body("a").faces) == ["back", "base", "floor"]
    assert [s.path for s in setup.sources] == ["one.py", "pawl.step"]
    assert Path.cwd() == elsewhere


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x = 1\n", "one.py leaves no set-up; assign one to the variable 'setup' or show_object it"),
        ("setup = 3\n", "one.py leaves an object of type int, not a set-up or an assembly; assign one"),
        ("show_object(cq.Workplane().box(1, 1, 1))\n", "one.py leaves an object of type Workplane, not a"),
        ("show_object(cq.Assembly()); show_object(cq.Assembly())\n", "one.py shows 2 set-ups or assemblies;"),
    ],
)
def test_a_script_without_one_set_up(tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "one.py"
    path.write_text(text)
    assert refused(path).startswith(message)


def test_show_object_is_enough(script: Path) -> None:
    script.write_text(script.read_text().replace("setup = Setup(", "show_object(Setup(").rstrip() + ")\n")
    assert load(script).name == "blocks"


def test_nothing_is_printed_about_odd_assignments(script: Path, capsys: pytest.CaptureFixture[str]) -> None:
    odd = "nothing = None\na, b = 1, [2]\nc = (cq, 1)\nd, e = [(1, 2)][0]\n"
    script.write_text(script.read_text().replace("\n\n", "\n" + odd, 1))
    load(script)
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("name", ["none.py", "none.toml"])
def test_a_missing_set_up_is_refused_with_the_endings_that_are_read(tmp_path: Path, name: str) -> None:
    assert refused(tmp_path / name).endswith(f"{name} is not a file; give a set-up ending in .py or .toml")


@pytest.mark.parametrize("ending", [".step", ".p21", ".brep"])
def test_a_part_in_place_of_a_set_up_is_told_where_it_goes(tmp_path: Path, ending: str) -> None:
    part = tmp_path / f"a{ending}"
    part.write_text("ISO-10303-21;")
    assert refused(part).endswith(f"`fixturecheck new {part}` proposes a set-up for it")


def test_a_folder_is_no_set_up(tmp_path: Path) -> None:
    assert "is a folder; give the set-up in it" in refused(tmp_path)
