"""TOML: keys, units, overrides, and the line of whatever is wrong."""

# ruff: noqa: E501 - one row for each mistake reads best as a table

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import cadquery as cq
import pytest

from fixturecheck.errors import SetupError
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.setup.document import lines_of
from fixturecheck.setup.load import load
from tests.setup.values import refused

SMALL = """\
[setup]
name = "one block"

[wheel]
diameter_mm = 150

[[body]]
name = "block"
file = "block.step"
at = [1, 2, 3]
[body.faces]
top = { select = ">Z" }
side = [
  { near = [5, 0, 0] },
  { near = [-5, 0, 0] },
]

[[cut]]
name = "top"
parts = ["block"]
floor = "top"
stock_mm = 0.2
"""


@pytest.fixture
def small(tmp_path: Path, block: cq.Workplane) -> Path:
    block.val().exportStep(str(tmp_path / "block.step"))
    path = tmp_path / "small.toml"
    path.write_text(SMALL)
    return path


def rewritten(path: Path, old: str, new: str) -> Path:
    text = path.read_text()
    assert text.count(old) == 1, old
    path.write_text(text.replace(old, new))
    return path


def test_reads_what_is_stated(small: Path) -> None:
    setup = load(small)
    body = setup.body("block")
    assert setup.name == "one block"
    assert setup.wheel.diameter_mm == 150
    assert body.at.toTuple()[0] == (1.0, 2.0, 3.0)
    assert len(body.faces["side"]) == 2
    assert setup.cuts[0].parts == ("block",)
    assert setup.machine.guard is not None


def test_guard_false_takes_the_guard_off(small: Path) -> None:
    assert load(rewritten(small, "[wheel]", "[machine]\nguard = false\n[wheel]")).machine.guard is None


# What is wrong, and on which line --------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("diameter_mm", "diametre_mm", "small.toml, line 5: unknown key 'diametre_mm' in [wheel]; did you mean 'diameter_mm'"),
        ("[[cut]]", "[[kut]]", "small.toml, line 18: unknown key 'kut' in the file; did you mean 'cut'?"),
        ("[wheel]", "[weel]", "small.toml, line 4: unknown key 'weel' in the file; did you mean 'wheel'?"),
        ("stock_mm", "stok_mm", "small.toml, line 22: unknown key 'stok_mm' in [[cut]] 'top'; did you mean 'stock_mm'"),
        ("at = [1, 2, 3]", "att = [1, 2, 3]", "small.toml, line 10: unknown key 'att' in [[body]] 'block'; did you mean 'at'"),
        ("stock_mm = 0.2", 'stock_mm = "0.2"', "small.toml, line 22: stock_mm in [[cut]] 'top' must be a number; got text '0.2'"),
        ("stock_mm = 0.2", "stock_mm = true", "small.toml, line 22: stock_mm in [[cut]] 'top' must be a number; got True"),
        ('parts = ["block"]', 'parts = "block"', "small.toml, line 20: parts in [[cut]] 'top' must be a list of texts; got text 'block'"),
        ("diameter_mm", "rpm", "small.toml, line 5: unknown key 'rpm' in [wheel]; rpm is a key of [machine] and [[cut]]"),
        ("stock_mm", "magnet", "small.toml, line 22: unknown key 'magnet' in [[cut]] 'top'; magnet is a key of [holding]"),
        ('floor = "top"\n', "", "small.toml, line 18: [[cut]] 'top' lacks the key 'floor'"),
        ('file = "block.step"\n', "", "small.toml, line 7: [[body]] 'block' lacks the key 'file'"),
        ("at = [1, 2, 3]", "at = [1, 2]", "small.toml, line 10: at in [[body]] 'block' must be three finite numbers; got [1, 2]"),
        ("at = [1, 2, 3]", "at = [1, 2, inf]", "small.toml, line 10: at in [[body]] 'block' must be three finite numbers"),
        ("at = [1, 2, 3]", 'rotate = ["w", 3]', "small.toml, line 10: [[body]] 'block': axis 'w' is unknown; use x, y, z or a vector"),
        ("at = [1, 2, 3]", "rotate = 90", "small.toml, line 10: rotate must be a list of turns, like [['z', 90]]"),
        ("at = [1, 2, 3]", "rotate = [90]", "small.toml, line 10: [[body]] 'block': a turn is an axis and an angle in degrees"),
        ("{ select = \">Z\" }", "{ selct = \">Z\" }", "small.toml, line 12: top in the faces of body 'block' must be {step = 'NAME'}"),
        ("{ select = \">Z\" }", "{ tag = \"t\" }", "small.toml, line 12: top in the faces of body 'block': a file has no tags; use step,"),
        ("{ select = \">Z\" }", "3", "small.toml, line 12: top in the faces of body 'block' must be {step = 'NAME'}"),
        ("{ near = [5, 0, 0] }", "{ near = [5, 0] }", "small.toml, line 13: near in face 'side' must be three finite numbers; got [5, 0]"),
        ("{ select = \">Z\" }", "{ step = \"TOP\" }", "small.toml, line 7: body 'block', face 'top': the file names no face 'TOP'; there are none"),
        ("{ select = \">Z\" }", "{ select = \"%SPHERE\" }", "small.toml, line 7: body 'block', face 'top': selector '%SPHERE' matches none"),
        ('"block.step"', '"blok.step"', "small.toml, line 9: body 'block': "),
        ('floor = "top"', 'floor = "tip"', "small.toml, line 18: cut 'top': body 'block' has no face 'tip'; did you mean 'top'?"),
        ('parts = ["block"]', 'parts = ["blok"]', "small.toml, line 18: cut 'top': no body is named 'blok'; did you mean 'block'?"),
        ("stock_mm = 0.2", "stock_mm = nan", "small.toml, line 22: stock_mm in [[cut]] 'top': nan is not finite; state a number"),
        ("diameter_mm = 150", "diameter_mm = -150", "small.toml, line 5: diameter_mm in [wheel]: must be from 2 to 1000; got -150"),
        ('name = "one block"', 'name = "one block"\nunits = "cm"', "small.toml, line 3: units in [setup]: 'cm' is unknown; use mm or inch"),
        ("at = [1, 2, 3]", 'material = "chese"', "small.toml, line 10: body 'block': material 'chese' is not known; "),
        ("stock_mm = 0.2", "stock_mm = 0.2\nstock_in = 0.01", "small.toml, line 23: [[cut]] 'top' states both stock_mm and stock_in; keep one"),
        ("[wheel]", '[[equipment]]\nkind = "anvil"\nname = "a"\n[wheel]', "small.toml, line 5: equipment 'a': equipment 'anvil' is not known; "),
        ("[wheel]", '[[equipment]]\nkind = "parallel"\nname = "a"\nparams = { hight_mm = 3 }\n[wheel]', "small.toml, line 7: equipment 'a': parameter of parallel 'hight_mm' is not known; did you mean 'height_mm"),
        ("[wheel]", "[machine]\nguard = true\n[wheel]", "small.toml, line 5: guard in [machine] must be a table or false; got True"),
        ("[wheel]", "[severity]\nseat = 3\n[wheel]", "small.toml, line 5: seat in [severity] must be text in quotes; got number 3"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_its_line(small: Path, old: str, new: str, message: str) -> None:
    assert refused(rewritten(small, old, new)).startswith(message)


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("diameter_mm = 150", "diameter_mm 150", "small.toml, line 5: "),
        ("diameter_mm = 150", "diameter_mm = 1 50", "small.toml, line 5: "),
        ("diameter_mm = 150", "diameter_mm = 150\ndiameter_mm = 150", "small.toml, line 6: "),
        ("[wheel]", "[wheel", "small.toml, line 4: "),
        ('floor = "top"', "floor = top", "small.toml, line 21: Invalid value; there stands 'floor = top', and text needs quotes"),
        ("stock_mm = 0.2\n", "stock_mm = [0.2\n", "small.toml, line "),
    ],
)  # fmt: skip
def test_syntax_errors_have_their_line(small: Path, old: str, new: str, message: str) -> None:
    assert refused(rewritten(small, old, new)).startswith(message)


MANY = """\
[setup]
unit = "mm"
[wheel]
diametre_mm = 100
corner_radius_mm = 1e9
[machine.guard]
wall_mm = "thin"
[[equipment]]
kind = "parallel"
name = "p"
params = { hight_mm = 3 }
[[body]]
name = "b"
material = "chese"
[[cut]]
name = "top"
stock_mm = -1
[severity]
holds = "go"
[staging]
push = { b = { direction = [1, 0, 0], force = 3 } }
[[clamp]]
name = "c"
"""


def test_all_mistakes_are_told_at_once_each_with_its_line(tmp_path: Path) -> None:
    path = tmp_path / "many.toml"
    path.write_text(MANY)
    with pytest.raises(SetupError) as caught:
        load(path)
    told = sorted((int(re.findall(r"line (\d+)", line)[0]), line) for line in caught.value.problems)
    assert [(n, re.sub(r"^many.toml, line \d+: ", "", line)[:44]) for n, line in told] == [
        (2, "unknown key 'unit' in [setup]; did you mean "),
        (4, "unknown key 'diametre_mm' in [wheel]; did yo"),
        (5, "corner_radius_mm in [wheel]: must be 0, or f"),
        (7, "wall_mm in [machine.guard] must be a number;"),
        (11, "equipment 'p': parameter of parallel 'hight_"),
        (12, "[[body]] 'b' lacks the key 'file'"),
        (14, "body 'b': material 'chese' is not known; the"),
        (15, "[[cut]] 'top' lacks the key 'floor'"),
        (15, "[[cut]] 'top' lacks the key 'parts'"),
        (17, "stock_mm in [[cut]] 'top': must be 0, or fro"),
        (19, "severity of 'holds': no check has this name;"),
        (21, "unknown key 'force' in push of 'b' in [stagi"),
        (22, "[[clamp]] 'c' lacks the key 'body'"),
        (22, "[[clamp]] 'c' lacks the key 'kind'"),
    ]


def test_mistakes_that_only_the_solids_show_are_told_together(small: Path) -> None:
    text = small.read_text().replace('floor = "top"', 'floor = "tip"')
    small.write_text(text + '[[seat]]\nbody = "block"\nface = "x"\non = "block"\non_face = "top"\n')
    with pytest.raises(SetupError) as caught:
        load(small)
    assert [line.split(": ")[0] for line in caught.value.problems] == [
        "small.toml, line 23",
        "small.toml, line 18",
    ]


def test_text_that_is_no_utf8(small: Path) -> None:
    small.write_bytes(b"\xff\xfe\x00")
    assert refused(small) == "small.toml is not UTF-8 text; save it as UTF-8"


# Lines of keys, against the parser ---------------------------------------------------------------

AWKWARD = '''\
# a [table] in a comment = 1
top = """
[not.a.table]
key = 3
"""
list = [ 1, # ] no end
  [2, 3],
  "]",
]
a.b.c = 1
"quoted.key" = { x = 1, y = [1,
 2] }

[one . two]
key = 'a # b = c'
[[many]]
x = 1
[many.inner]
y = 2
[[many]]
x = 3
[[many.deep]]
z = 1
[[many.deep]]
z = 2
[last]
key = """x""" # [no]
'''


def paths_of(value: Any, path: tuple[str | int, ...] = ()) -> set[tuple[str | int, ...]]:
    found = {path} if path else set()
    if isinstance(value, dict):
        for key, item in value.items():
            found |= paths_of(item, (*path, key))
    elif isinstance(value, list) and value and all(isinstance(v, dict) for v in value):
        for n, item in enumerate(value):
            found |= paths_of(item, (*path, n))
    return found


def test_every_key_has_a_line_that_holds_it() -> None:
    """The keys are those that the language's own parser finds, and each line has its key's name."""
    lines = lines_of(AWKWARD)
    rows = AWKWARD.split("\n")
    expected = {
        p for p in paths_of(tomllib.loads(AWKWARD)) if p not in {("quoted.key", "x"), ("quoted.key", "y")}
    }
    # Lists of tables, and parents that no header names, stand where their children do.
    assert set(lines) <= expected
    assert expected - set(lines) <= {("many",), ("one",), ("many", 1, "deep")}
    for path, line in lines.items():
        name = next(str(p) for p in reversed(path) if isinstance(p, str))
        assert name in rows[line - 1], (path, line)
    assert lines[("many", 1, "deep", 1, "z")] == rows.index("z = 2") + 1
    assert lines[("last", "key")] == len(rows) - 1


# Overrides ---------------------------------------------------------------------------------------


def test_a_dotted_key_overrides_a_value_wherever_it_stands(small: Path) -> None:
    overrides = {
        "wheel.diameter_mm": "120",
        "cut.top.downfeed_mm": "0.02",
        "cut.1.way": "traverse",
        "body.block.at": "[0, 0, 9]",
        "body.block.faces.top": '{select = "<Z"}',
        "machine.flange.diameter_mm": "60",
        "machine.guard": "false",
        "setup.name": "another name",
        "severity.seat": "caution",
        "tolerances.touch_um": "2",
    }
    setup = load(small, overrides)
    body = setup.body("block")
    assert setup.wheel.diameter_mm == 120
    assert (setup.cuts[0].downfeed_mm, setup.cuts[0].way) == (0.02, "traverse")
    assert body.at.toTuple()[0] == (0.0, 0.0, 9.0)
    assert faces_of(body.solid)[body.faces["top"][0]].Center().z == pytest.approx(-2.5)
    assert setup.machine.flange.diameter_mm == 60
    assert setup.machine.guard is None
    assert setup.name == "another name"
    assert dict(setup.severity) == {"seat": "caution"}
    assert setup.tolerances.touch_um == 2


def test_an_override_in_other_units_replaces(small: Path) -> None:
    assert load(small, {"cut.top.stock_in": "0.01"}).cuts[0].stock_mm == pytest.approx(0.254)


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("diameter_mm", "3", "--set diameter_mm=3: name a table and a key, like machine.flange.diameter_mm or wheel.diameter_mm"),
        ("weel.diameter_mm", "3", "--set weel.diameter_mm=3: there is no table 'weel'; did you mean 'wheel'?"),
        ("cut.tip.stock_mm", "3", "--set cut.tip.stock_mm=3: no cut is named 'tip'; did you mean 'top'?"),
        ("cut.2.stock_mm", "3", "--set cut.2.stock_mm=3: no cut is named '2'; there are top"),
        ("cut.top.stok_mm", "3", "--set cut.top.stok_mm=3: unknown key 'stok_mm' in [[cut]] 'top'; did you mean 'stock_mm'"),
        ("cut.top.stock_mm", "x", "--set cut.top.stock_mm=x: stock_mm in [[cut]] 'top' must be a number; got text 'x'"),
        ("cut.stock_mm", "3", "--set cut.stock_mm=3: cut is a list; say which: cut.top.stock_mm"),
        ("cut.0.stock_mm", "3", "--set cut.0.stock_mm=3: entries count from 1; write cut.top"),
        ("downfeed_mm", "3", "--set downfeed_mm=3: name a table and a key, like cut.NAME.downfeed_mm"),
        ("wheel.diameter_mm.x", "3", "--set wheel.diameter_mm.x=3: wheel.diameter_mm is no table"),
    ],
)  # fmt: skip
def test_an_override_that_names_nothing_is_refused(small: Path, key: str, value: str, message: str) -> None:
    assert refused(small, {key: value}).startswith(message)


# Inches ------------------------------------------------------------------------------------------


def test_inches_are_converted_once(small: Path) -> None:
    """1 in = 25.4 mm exactly; 1 ft/min = 0.3048 m/min exactly (NIST SP 811, B.8)."""
    text = small.read_text()
    text = text.replace('name = "one block"', 'name = "one block"\nunits = "inch"')
    text = text.replace("diameter_mm = 150", "diameter_in = 7\nmax_speed_ft_min = 6500")
    text = text.replace("stock_mm = 0.2", "stock_in = 0.008\ntable_speed_ft_min = 40\ndownfeed_mm = 0.01")
    text = text.replace("[5, 0, 0]", "[0.19, 0, 0]").replace("[-5, 0, 0]", "[-0.19, 0, 0]")
    text = text.replace(
        "at = [1, 2, 3]", "at = [1, 2, 3]\ntolerance_in = { top = 0.0002 }\norientation_in = 0.0001"
    )
    text += '\n[[equipment]]\nkind = "parallel"\nname = "p"\nat = [4, 0, 0]\nparams = { height_in = 0.5 }\n'
    small.write_text(text)
    setup = load(small)
    body = setup.body("block")
    assert setup.units == "inch"
    assert setup.wheel.diameter_mm == 177.8
    assert setup.wheel.max_speed_m_s == pytest.approx(33.02, abs=1e-12)
    assert setup.cuts[0].stock_mm == 0.2032
    assert setup.cuts[0].table_speed_m_min == pytest.approx(12.192, abs=1e-12)
    # A key that says mm is mm, whatever the rest is in.
    assert setup.cuts[0].downfeed_mm == 0.01
    assert body.tolerance_mm["top"] == 0.00508
    assert body.orientation_mm == {"*": 0.00254}
    assert body.at.toTuple()[0] == (25.4, 50.8, 76.2)
    assert len(body.faces["side"]) == 2
    box = setup.body("p").solid.BoundingBox()
    assert box.zmax - box.zmin == pytest.approx(12.7)
    # The part's own file says what it was drawn in.
    assert body.solid.Volume() == pytest.approx(1000)


def test_several_solids_of_one_file(tmp_path: Path) -> None:
    drawn = {"jaw": cq.Workplane().box(1, 2, 3), "bed": cq.Workplane().box(2, 2, 2)}
    assembly = cq.Assembly(name="vise")
    for name, shape in drawn.items():
        assembly.add(shape, name=name)
    assembly.export(str(tmp_path / "vise.step"))
    path = tmp_path / "a.toml"
    body = '[[body]]\nname = "{0}"\nfile = "vise.step"\nsolid = {1}\n'
    path.write_text(body.format("jaw", '"jaw"') + body.format("bed", 2))
    setup = load(path)
    assert [b.solid.Volume() for b in setup.bodies] == pytest.approx([6, 8])
    assert setup.name == "a"
    path.write_text(re.sub("solid = .*", "", path.read_text(), count=1))
    assert (
        refused(path) == "a.toml, line 1: body 'jaw': vise.step holds 2 solids (jaw, bed); name the one meant"
    )
