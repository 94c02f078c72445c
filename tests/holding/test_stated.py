"""What holds the parts, stated in a script, in TOML and in an assembly's metadata: one and the same."""

from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck import Clamp, Holding
from fixturecheck.cq import setup_from_assembly
from fixturecheck.errors import SetupError
from fixturecheck.setup.load import load

MODELS = Path(__file__).resolve().parents[2] / "models"

HOLDING = {
    "magnet": "off",
    "friction": "oily_steel",
    "mu": [0.1, 0.2],
    "coolant": False,
    "abrasive": "alumina_dull",
    "grinds_as": {"block": "cast_iron"},
    "curves_between": {"tool_steel_a2": ["gray_iron", "steel_1018"]},
    "blocking": ["fence"],
    "least_factor": 2.5,
    "shim_mm": 0.1,
    "shim_pull_n_cm2": 20.0,
}
CLAMPS = [
    {
        "name": "toe",
        "kind": "toe",
        "body": "block",
        "at_mm": [0, -10, 5],
        "inward": [0, 1, 0],
        "force_n": 90.0,
    },
    {
        "name": "strap",
        "kind": "strap",
        "body": "block",
        "at_mm": [0, 0, 10],
        "torque_nm": 8.0,
        "thread": "dry",
    },
]
EXPECTED = Holding(
    magnet="off",
    friction="oily_steel",
    mu=(0.1, 0.2),
    coolant=False,
    abrasive="alumina_dull",
    grinds_as={"block": "cast_iron"},
    curves_between={"tool_steel_a2": ("gray_iron", "steel_1018")},
    blocking=("fence",),
    least_factor=2.5,
    shim_mm=0.1,
    shim_pull_n_cm2=20.0,
    clamps=(
        Clamp(name="toe", kind="toe", body="block", at_mm=(0, -10, 5), inward=(0, 1, 0), force_n=90.0),
        Clamp(name="strap", kind="strap", body="block", at_mm=(0, 0, 10), torque_nm=8.0, thread="dry"),
    ),
)


def assembly(holding=None, clamps=None):
    facts = {
        "cut": [{"name": "top", "parts": ["block"], "floor": "floor"}],
        "holding": holding,
        "clamp": clamps,
    }
    whole = cq.Assembly(
        name="op", metadata={"fixturecheck": {k: v for k, v in facts.items() if v is not None}}
    )
    block = {"role": "part", "faces": {"floor": {"select": ">Z"}}}
    whole.add(cq.Workplane().box(20, 20, 10), name="block", metadata={"fixturecheck": block})
    whole.add(
        cq.Workplane().box(20, 20, 10),
        name="fence",
        loc=cq.Location((0, 20, 0)),
        metadata={"fixturecheck": {"role": "fixture"}},
    )
    return whole


def test_a_holding_stated_in_an_assembly_is_read_as_stated():
    assert setup_from_assembly(assembly(HOLDING, CLAMPS)).holding == EXPECTED


def test_clamps_alone_are_a_holding_and_nothing_is_none():
    assert setup_from_assembly(assembly(clamps=CLAMPS)).holding == Holding(clamps=EXPECTED.clamps)
    assert setup_from_assembly(assembly()).holding is None


def test_a_holding_stated_in_a_file_is_read_as_stated(tmp_path):
    cq.exporters.export(cq.Workplane().box(20, 20, 10), str(tmp_path / "block.step"))
    (tmp_path / "op.toml").write_text(
        """
[[body]]
name = "block"
file = "block.step"
faces = { floor = { select = ">Z" } }

[[body]]
name = "fence"
file = "block.step"
role = "fixture"
at = [0, 20, 0]

[[cut]]
name = "top"
parts = ["block"]
floor = "floor"

[holding]
magnet = "off"
friction = "oily_steel"
mu = [0.1, 0.2]
coolant = false
abrasive = "alumina_dull"
blocking = ["fence"]
least_factor = 2.5
shim_mm = 0.1
shim_pull_n_cm2 = 20.0

[holding.grinds_as]
block = "cast_iron"

[holding.curves_between]
tool_steel_a2 = ["gray_iron", "steel_1018"]

[[clamp]]
name = "toe"
kind = "toe"
body = "block"
at_in = [0, -0.3937007874015748, 0.19685039370078741]
inward = [0, 1, 0]
force_n = 90.0

[[clamp]]
name = "strap"
kind = "strap"
body = "block"
at_mm = [0, 0, 10]
torque_nm = 8.0
thread = "dry"
"""
    )
    found = load(tmp_path / "op.toml").holding
    assert found.clamps[0].at_mm == pytest.approx((0.0, -10.0, 5.0))
    assert {**_plain(found), "clamps": found.clamps[1:]} == {
        **_plain(EXPECTED),
        "clamps": EXPECTED.clamps[1:],
    }


@pytest.mark.parametrize(
    ("holding", "says"),
    [
        ({"magnets": "full"}, "unknown key 'magnets'"),
        ({"magnet": "full"}, "no body is a magnet's pole"),
        ({"shim_mm": 0.1}, "shim_mm and shim_pull_n_cm2 together"),
        ({"shim_mm": 0.1, "shim_pull_n_cm2": 90.0}, "a shim weakens the pull"),
        ({"mu": [0.3, 0.1]}, "state low and high"),
        ({"source_gap_mm": [0.1, 5.1]}, r"source_gap_mm.*must be from 0\.0001 to 5"),
        ({"curves_between": {"tool_steel_a2": ["steel_1018"]}}, "name two materials"),
        ({"curves_between": {"tool_steel_a2": ["brass", "steel_1018"]}}, "no B-H curve either"),
        (
            {"curves_between": {"tool_steel_a2": ["stainless_455", "steel_1018"]}},
            "1.37 T of its 1.46 T at 9710 A/m",
        ),
        ({"blocking": ["block"]}, "no such body as 'block'"),
        (
            {"grinds_as": {"block": "cheese"}},
            "grinds_as in .holding.: 'cheese' is unknown",
        ),
    ],
)
def test_what_makes_no_sense_is_refused_with_its_place(holding, says):
    with pytest.raises(SetupError, match=says) as caught:
        setup_from_assembly(assembly(holding))
    assert "'holding'" in str(caught.value)


def _plain(holding):
    return {name: getattr(holding, name) for name, f in Holding.__dataclass_fields__.items() if f.compare}


def test_a_milling_cut_is_stated_in_a_table_of_its_own():
    whole = assembly()
    mill = {"name": "slot", "parts": ["block"], "face": "floor", "cutter_in": 0.5, "teeth": 2}
    mill |= {"deep_mm": 1.0, "wide_mm": 4.0, "feed_mm_tooth": 0.05, "feed": [0, 1, 0]}
    whole.metadata["fixturecheck"]["mill"] = [mill]
    (found,) = setup_from_assembly(whole).holding.milling
    assert (found.cutter_mm, found.teeth, found.feed) == (pytest.approx(12.7), 2, (0, 1, 0))
    whole.metadata["fixturecheck"]["mill"] = [{**mill, "rpm": 900.0}]
    with pytest.raises(SetupError, match="unknown key 'rpm'"):
        setup_from_assembly(whole)
