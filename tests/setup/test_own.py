"""Materials, finishes, wheels and a machine of the user's own, checked like ours."""

from __future__ import annotations

from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck import Setup, body, own_shop
from fixturecheck.checks.doubts import assumed
from fixturecheck.engine import check
from fixturecheck.errors import SetupError
from fixturecheck.setup.load import load
from fixturecheck.shop.tables import material, materials

NITRIDED = """
[[material]]
name = "nitrided"
density_kg_m3 = 7800
youngs_modulus_mpa = [200e3, 210e3]
poisson = 0.29
cte_um_m_k = 11.5
magnetic = true
friction_on_steel = [0.15, 0.3]
between = ["gray_iron", "steel_1018"]
source = "the maker's sheet of the bar"
"""
HONED = """
[[finish]]
name = "honed"
ra_um = [0.05, 0.2]
rz_um = [0.2, 1.4]
source = "measured on a sample"
"""
WHEEL = """
[[wheel]]
name = "white_46"
diameter_mm = 200
thickness_mm = 20
max_speed_m_s = 35
[machine]
rpm = 2900
travel_x_in = 20
[machine.flange]
diameter_mm = 90
"""
SETUP = """
[setup]
shop = "shop.toml"
[wheel]
name = "white_46"
corner_radius_mm = 0.4
[machine]
travel_x_mm = 400
[[body]]
name = "block"
file = "block.step"
material = "nitrided"
finish = "honed"
"""


@pytest.fixture
def home(tmp_path: Path) -> Path:
    cq.Workplane().box(10, 20, 5).val().exportStep(str(tmp_path / "block.step"))
    (tmp_path / "shop.toml").write_text(NITRIDED + HONED + WHEEL)
    (tmp_path / "setup.toml").write_text(SETUP)
    return tmp_path


def test_a_set_up_takes_material_finish_wheel_and_machine_from_the_shops_file(home: Path) -> None:
    setup = load(home / "setup.toml")
    assert setup.body("block").material == "nitrided"
    assert (setup.wheel.diameter_mm, setup.wheel.corner_radius_mm) == (200.0, 0.4)
    # What the set-up states itself comes first, in whatever unit the shop states it.
    assert (setup.machine.rpm, setup.machine.travel_x_mm) == (2900.0, 400.0)
    assert setup.machine.flange.diameter_mm == 90.0
    assert [s.path for s in setup.sources] == ["setup.toml", "shop.toml", "block.step"]
    assert not [r for r in assumed(setup) if r.key in {"diameter_mm", "rpm", "travel_x_mm"} and r.of != "cut"]
    assert check(setup).name == "setup"
    # Nothing of it stays behind.
    assert "nitrided" not in materials()


def test_a_set_up_states_its_own_materials_itself(home: Path) -> None:
    text = '[[body]]\nname = "block"\nfile = "block.step"\nmaterial = "nitrided"\n'
    (home / "own.toml").write_text(text + NITRIDED)
    assert load(home / "own.toml").own.materials[0].density_kg_m3 == 7800.0
    (home / "own.toml").write_text(text)
    with pytest.raises(SetupError, match="material 'nitrided' is not known"):
        load(home / "own.toml")


def test_a_script_hands_the_shops_file_over(home: Path) -> None:
    shop = own_shop(home / "shop.toml")
    block = body("block", cq.Workplane().box(1, 2, 3), material="nitrided")
    setup = Setup(name="x", bodies=[block], own=shop.own, wheel=shop.wheels["white_46"], machine=shop.machine)
    assert setup.wheel.max_speed_m_s == 35.0
    assert setup.machine.travel_x_mm == 508.0
    with pytest.raises(SetupError, match="material 'nitrided' is not known"):
        Setup(name="x", bodies=[block])
    with pytest.raises(SetupError):
        material("nitrided")


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            '"nitrided"',
            '"steel_1018"',
            "material 'steel_1018': the shop's own list has this name; give yours",
        ),
        (
            'source = "the maker\'s sheet of the bar"',
            "source = ''",
            "say where its values come from under source",
        ),
        (
            "density_kg_m3 = 7800",
            "density_kg_m3 = 7.8",
            "density_kg_m3 in [[material]] 'nitrided': must be from 500",
        ),
        ("[200e3, 210e3]", "[210e3, 200e3]", "youngs_modulus_mpa must be low and high, like [1, 2]"),
        ("[200e3, 210e3]", "[210e3]", "youngs_modulus_mpa in [[material]] 'nitrided' must be two numbers"),
        ('["gray_iron", "steel_1018"]', '["brass", "steel_1018"]', "'brass' is no material with a B-H curve"),
        (
            'between = ["gray_iron", "steel_1018"]',
            "bh = [[100, 1.0], [50, 1.2]]",
            "the field strength must rise",
        ),
        (
            'between = ["gray_iron", "steel_1018"]',
            "bh = [[1000, 1.0], [9000, 1.0]]",
            "more slowly than in air",
        ),
        (
            'between = ["gray_iron", "steel_1018"]',
            "bh = [[1000, 1.0], [20000, 2.4]]",
            "more than pure iron's 2.16 T",
        ),
        ("magnetic = true", "magnetic = false", "it is stated as not magnetic, and with a curve"),
        ("poisson = 0.29", "", "[[material]] 'nitrided' lacks the key 'poisson'"),
        ("[[wheel]]", "[[wheeel]]", "unknown key 'wheeel'"),
        (
            "diameter_mm = 200",
            "diameter_mm = 2e5",
            "diameter_mm in [[wheel]] 'white_46': must be from 2 to 1000",
        ),
    ],
)
def test_what_is_the_users_own_is_checked_like_ours(home: Path, old: str, new: str, message: str) -> None:
    path = home / "shop.toml"
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new))
    with pytest.raises(SetupError) as caught:
        load(home / "setup.toml")
    (line,) = [p for p in caught.value.problems if message in p]
    assert line.startswith("shop.toml")


def test_a_wheel_that_the_shop_does_not_have(home: Path) -> None:
    (home / "setup.toml").write_text(SETUP.replace("white_46", "white_60"))
    with pytest.raises(
        SetupError, match=r"setup.toml, line 5: shop.toml has no wheel 'white_60'; did you mean"
    ):
        load(home / "setup.toml")
