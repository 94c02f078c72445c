"""A gang of two small pawls in a magnetic V-block, written in the three ways, for the tests of all three."""

from __future__ import annotations

from pathlib import Path

import cadquery as cq
import pytest

DRAWN = '''
def pawl():
    """A pawl with a step to grind: floor and wall of the step, a nest face, and a back corner."""
    outline = [(0, 0), (18, 0), (18, 4), (9, 4), (9, 12), (2, 12), (0, 10)]
    drawn = cq.Workplane("YZ").polyline(outline).close().extrude(width_mm)
    return drawn.faces(cq.NearestToPointSelector((width_mm / 2, 13.5, 4))).tag("floor").end()
'''

SCRIPT = f"""
import cadquery as cq
from fixturecheck import Cut, Flange, Guard, Machine, Seat, Setup, Wheel, body, equipment, place

width_mm = 6.0
downfeed_mm = 0.01
{DRAWN}
drawn = pawl()

def one(n):
    return body(
        f"pawl_{{n}}",
        drawn,
        at=place(at=(6.0 * n, -17.0, 65.0), rotate=[("x", 0.0), ("z", 180.0)]),
        material="tool_steel_a2",
        faces={{
            "floor": drawn.faces(tag="floor"),
            "wall": (3.0, 9.0, 8.0),
            "nest": "<X",
            "ends": [">X"],
            "corner": (3.0, 1.0, 11.0),
            "base": "<Z",
        }},
        finish={{"*": "ground", "corner": "milled"}},
        tolerance_mm={{"floor": 0.005}},
        orientation_mm={{"floor": 0.002}},
        no_function=["corner"],
    )

setup = Setup(
    name="two pawls in the vee",
    bodies=[
        *equipment("magnetic_v_block", name="vee", at=(0.0, 0.0, 35.0), length_mm=80.0),
        one(1),
        one(2),
    ],
    seats=[
        Seat(body="pawl_1", face="base", on="vee_left", on_face="land"),
        Seat(body="pawl_2", face="ends", on="pawl_1", on_face="nest", rank="nest", min_share=0.8),
    ],
    cuts=[Cut(name="step", parts=("pawl_1", "pawl_2"), floor="floor", wall="wall", wall_stock_mm=0.05,
              downfeed_mm=downfeed_mm, wall_feed_mm=0.002)],
    machine=Machine(rpm=2900.0, flange=Flange(diameter_mm=80.0), guard=Guard(opening_deg=140.0)),
    wheel=Wheel(diameter_mm=175.0, corner_radius_mm=0.1),
    severity={{"limits": "caution"}},
)
"""

TOML = """
[setup]
name = "two pawls in the vee"

[machine]
rpm = 2900
[machine.flange]
diameter_mm = 80
[machine.guard]
opening_deg = 140

[wheel]
diameter_mm = 175
corner_radius_mm = 0.1

[severity]
limits = "caution"

[[equipment]]
kind = "magnetic_v_block"
name = "vee"
at = [0, 0, 35]
params = { length_mm = 80 }

[[body]]
name = "pawl_1"
file = "pawl.step"
at = [6, -17, 65]
rotate = [["x", 0], ["z", 180]]
material = "tool_steel_a2"
finish = { "*" = "ground", corner = "milled" }
tolerance_mm = { floor = 0.005 }
orientation_mm = { floor = 0.002 }
no_function = ["corner"]
[body.faces]        # floor and base are named in the STEP file
wall = { near = [3, 9, 8] }
nest = { select = "<X" }
ends = [{ select = ">X" }]
corner = { step = "Corner (no function)" }

[[body]]
name = "pawl_2"
file = "pawl.step"
at = [12, -17, 65]
rotate = [["x", 0], ["z", 180]]
material = "tool_steel_a2"
finish = { "*" = "ground", corner = "milled" }
tolerance_mm = { floor = 0.005 }
orientation_mm = { floor = 0.002 }
no_function = ["corner"]
[body.faces]
wall = { near = [3, 9, 8] }
nest = "<X"
ends = ">X"
corner = "step:Corner (no function)"

[[seat]]
body = "pawl_1"
face = "base"
on = "vee_left"
on_face = "land"

[[seat]]
body = "pawl_2"
face = "ends"
on = "pawl_1"
on_face = "nest"
rank = "nest"
min_share = 0.8

[[cut]]
name = "step"
parts = ["pawl_1", "pawl_2"]
floor = "floor"
wall = "wall"
wall_stock_mm = 0.05
downfeed_mm = 0.01
wall_feed_mm = 0.002
"""

ASSEMBLY = f"""
import cadquery as cq
from fixturecheck import place

width_mm = 6.0
{DRAWN}

facts = {{
    "setup": {{"name": "two pawls in the vee"}},
    "machine": {{"rpm": 2900.0, "flange": {{"diameter_mm": 80.0}}, "guard": {{"opening_deg": 140.0}}}},
    "wheel": {{"diameter_mm": 175.0, "corner_radius_mm": 0.1}},
    "severity": {{"limits": "caution"}},
    "equipment": [
        {{"kind": "magnetic_v_block", "name": "vee", "at": [0, 0, 35], "params": {{"length_mm": 80.0}}}}
    ],
    "seat": [
        {{"body": "pawl_1", "face": "base", "on": "vee_left", "on_face": "land"}},
        {{"body": "pawl_2", "face": "ends", "on": "pawl_1", "on_face": "nest", "rank": "nest",
          "min_share": 0.8}},
    ],
    "cut": [
        {{"name": "step", "parts": ["pawl_1", "pawl_2"], "floor": "floor", "wall": "wall",
          "wall_stock_mm": 0.05, "downfeed_mm": 0.01, "wall_feed_mm": 0.002}}
    ],
}}
assy = cq.Assembly(name="top", metadata={{"fixturecheck": facts}})
gang = cq.Assembly(name="gang")
for n in (1, 2):
    drawn = pawl()
    gang.add(
        drawn,
        name=f"pawl_{{n}}",
        loc=place(at=(6.0 * n, -17.0, 65.0), rotate=[("x", 0.0), ("z", 180.0)]),
        metadata={{"fixturecheck": {{
            "material": "tool_steel_a2",
            "faces": {{
                "floor": {{"tag": "floor"}},
                "wall": {{"near": [3.0, 9.0, 8.0]}},
                "nest": "<X",
                "ends": drawn.faces(">X"),
            }},
            "finish": {{"*": "ground", "corner": "milled"}},
            "tolerance_mm": {{"floor": 0.005}},
            "orientation_mm": {{"floor": 0.002}},
            "no_function": ["corner"],
        }}}},
    )
    node = gang.objects[f"pawl_{{n}}"]
    node.addSubshape(drawn.val().faces("<Z"), name="base")
    node.addSubshape(drawn.faces(cq.NearestToPointSelector((3.0, 1.0, 11.0))).val(), name="corner")
assy.add(gang)
show_object(assy)
"""


def pawl(width_mm: float = 6.0) -> cq.Workplane:
    """Draw the pawl as the script does."""
    space = {"cq": cq, "width_mm": width_mm}
    exec(DRAWN, space)  # noqa: S102 - one drawing for the script and for the STEP file
    return space["pawl"]()


def write_step(path: Path) -> None:
    """Write the pawl with three of its faces named."""
    drawn = pawl()
    solid = drawn.val()
    assembly = cq.Assembly(name="file").add(solid, name="pawl")
    node = assembly.objects["pawl"]
    node.addSubshape(drawn.faces(tag="floor").val(), name="floor")
    node.addSubshape(solid.faces("<Z"), name="base")
    corner = drawn.faces(cq.NearestToPointSelector((3.0, 1.0, 11.0))).val()
    node.addSubshape(corner, name="Corner (no function)")
    assembly.export(str(path))


def write_all(folder: Path) -> dict[str, Path]:
    """Write the set-up in its three ways, with the part file, and return the paths."""
    write_step(folder / "pawl.step")
    paths = {"script": folder / "gang.py", "toml": folder / "gang.toml", "assembly": folder / "assembly.py"}
    for path, text in zip(paths.values(), (SCRIPT, TOML, ASSEMBLY), strict=True):
        path.write_text(text)
    return paths


@pytest.fixture
def gang(tmp_path: Path) -> dict[str, Path]:
    """Return the paths of one set-up written as script, TOML and assembly, its part file beside them."""
    return write_all(tmp_path)


@pytest.fixture
def block() -> cq.Workplane:
    """Return a plain block, 10 by 20 by 5 mm, about the origin."""
    return cq.Workplane().box(10, 20, 5)
