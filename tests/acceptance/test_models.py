"""Every model, in both ways it is written, gets the verdict it was made for, through the command line."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest

from fixturecheck.checks.doubts import assumed
from fixturecheck.kernel.brep.canonical import canonical_form
from fixturecheck.kernel.brep.topology import brep_bytes
from fixturecheck.kernel.place import matrix_of
from fixturecheck.magnet.iron import ferrous_bodies
from fixturecheck.setup.load import load
from fixturecheck.units import Writing
from tests.doors import command

pytestmark = pytest.mark.slow

MODELS = Path(__file__).resolve().parents[2] / "models"

VERDICTS = {
    "index_pawl/rev_a": ("no-go", 1),
    "index_pawl/rev_b": ("go", 0),
    "gib/thick_block": ("no-go", 1),
    "gib/thin_block": ("go", 0),
    "link/on_edge": ("no-go", 1),
    "link/in_vise": ("go", 0),
    "link/in_vise_clamped": ("caution", 0),
    "key/key": ("go", 0),
    "pad/pads": ("go", 0),
    "pin/flatted": ("go", 0),
}

# With the magnet on a check takes longer: one way through the command line, the other compared as stated.
MAGNETS = {"index_pawl/rev_b_held": ("caution", 0), "link/on_edge_held": ("no-go", 1)}


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    """Check a model once, and return the exit code and the result.

    Of the link on edge no test asks for cures, which would take most of the time.
    """
    done = {}

    def check(name: str, *more: str) -> tuple[int, dict]:
        if (name, more) not in done:
            out = tmp_path_factory.mktemp("checked") / "out"
            with pytest.MonkeyPatch.context() as patch:
                if name.startswith("link/on_edge_held"):
                    patch.setattr("fixturecheck.hold.HOLD", 0)
                run = command("check", MODELS / name, "--out", out, "--no-pictures", *more)
            assert run.returncode in {0, 1, 3}, run.stderr
            done[name, more] = run.returncode, json.loads((out / "result.json").read_text())
        return done[name, more]

    return check


def bad(result: dict) -> list[dict]:
    return [f for f in result["findings"] if f["verdict"] != "go"]


def apart_from_files(result: dict) -> dict:
    """A result without what differs between two ways of writing a set-up: files, checksums, lines."""
    setup = {key: value for key, value in result["setup"].items() if key not in {"file", "sources"}}
    findings = [{**finding, "origin": None} for finding in result["findings"]]
    return {**result, "setup": setup, "findings": findings}


@pytest.mark.parametrize("suffix", [".py", ".toml"])
@pytest.mark.parametrize("model", VERDICTS)
def test_each_model_has_the_verdict_and_exit_code_that_its_table_says(checked, model, suffix):
    code, result = checked(model + suffix)
    assert (result["verdict"], code) == VERDICTS[model]


@pytest.mark.parametrize("model", VERDICTS)
def test_script_and_toml_say_the_same(checked, model):
    results = [checked(model + suffix)[1] for suffix in (".py", ".toml")]
    for result in results:
        files = {Path(s["path"]).name for s in result["setup"]["sources"]}
        assert Path(model).name in {Path(f).stem for f in files}
    assert json.dumps(apart_from_files(results[0])) == json.dumps(apart_from_files(results[1]))


def test_sharp_heels_land_before_the_nest_closes(checked):
    _, result = checked("index_pawl/rev_a.py")
    found = bad(result)
    assert {f["check"] for f in found} == {"nest"}
    assert len(found) == 3
    # A corner 0.2 above the ledge beside a fillet of 1.0 lands r - sqrt(r^2 - (r - h)^2) early.
    early = 1.0 - math.sqrt(1.0 - 0.8**2)
    for finding in found:
        # Overlap thinner than 0.02 um is not seen, which at this slope is 0.04 um of travel.
        assert finding["value"] == pytest.approx(early, abs=1e-4)
        assert "step_fillet" in finding["says"]
        assert "back+under" in finding["says"]
        # The smallest equal-leg chamfer reaches the fillet's run-out on the wall, r - h up.
        assert "0.80 mm x 45°" in finding["remedy"]


def test_the_chamfer_that_the_finding_names_opens_the_nest(checked):
    code, result = checked("index_pawl/rev_a.py", "--set", "heel_mm=0.8")
    assert (code, result["verdict"]) == (0, "go")
    code, result = checked("index_pawl/rev_a.py", "--set", "heel_mm=0.7")
    assert (code, result["verdict"]) == (1, "no-go")


def test_tall_blocks_stop_the_wheel_by_their_height_over_the_floor(checked):
    _, result = checked("gib/thick_block.py")
    found = bad(result)
    assert {(f["check"], f["subject"]) for f in found} == {
        ("clear", "top/block_left"),
        ("clear", "top/block_right"),
    }
    for finding in found:
        assert finding["value"] == pytest.approx(10.0 - 12.0, abs=1e-6)
        assert "at most 9.00 mm tall" in finding["remedy"]


def test_low_blocks_clear_by_what_is_left(checked):
    _, result = checked("gib/thin_block.py")
    wheel = [f for f in result["findings"] if f["check"] == "clear" and "wheel" in f["says"]]
    assert [f["value"] for f in wheel] == [pytest.approx(2.0, abs=1e-6)]


def test_a_link_on_edge_bears_on_two_lines(checked):
    _, result = checked("link/on_edge.py")
    assert {f["check"] for f in bad(result)} == {"seat"}
    touching = [c for c in result["contacts"] if c["kind"] != "near" and c["a"].startswith("link.")]
    assert [c["kind"] for c in touching] == ["line", "line"]
    assert all(c["length_mm"] == pytest.approx(60.0 - 2 * 4.0) for c in touching)


def test_the_same_link_has_areas_in_the_vise(checked):
    _, result = checked("link/in_vise.py")
    areas = [c["area_mm2"] for c in result["contacts"] if c["kind"] == "area" and "link" in c["a"]]
    # Jaws of 35 against a link raised 16: 19 high over 60 long, less two holes of 8 and two round corners.
    jaw = 60.0 * 19.0 - 2 * math.pi * 4.0**2 - 2 * (1 - math.pi / 4) * 4.0**2
    assert sorted(areas)[1:] == [pytest.approx(jaw, abs=1e-3)] * 2


@pytest.mark.parametrize("model", MAGNETS)
def test_verdict_with_the_magnet_on(checked, model):
    code, result = checked(model + ".py")
    assert (result["verdict"], code) == MAGNETS[model]


@pytest.mark.parametrize("model", [*MAGNETS, "gib/held", "link/in_vise_clamped", "link/milled"])
def test_script_and_toml_state_the_same_hold(model):
    script, toml = (load(MODELS / (model + suffix)) for suffix in (".py", ".toml"))
    for name in ("name", "seats", "cuts", "machine", "wheel", "holding"):
        assert getattr(script, name) == getattr(toml, name)
    for a, b in zip(script.bodies, toml.bodies, strict=True):
        assert (a.name, a.material, a.finish, sorted(a.faces)) == (
            b.name,
            b.material,
            b.finish,
            sorted(b.faces),
        )
        assert a.solid.Volume() == pytest.approx(b.solid.Volume(), rel=1e-9)


@pytest.mark.parametrize("model", [*MAGNETS, "gib/held"])
def test_script_and_toml_hand_the_field_the_same_iron(model):
    """Every body that carries flux has one form and one place, to the last bit, so its mesh is one too."""
    script, toml = (
        [(f, canonical_form(f.placed.solid)) for f in ferrous_bodies(load(MODELS / (model + suffix)))]
        for suffix in (".py", ".toml")
    )
    assert len(script) == len(toml) > 2
    for (a, form_a), (b, form_b) in zip(script, toml, strict=True):
        assert (a.placed.name, a.pole) == (b.placed.name, b.pole)
        assert (a.weak, a.strong) == (b.weak, b.strong)
        assert brep_bytes(form_a.solid) == brep_bytes(form_b.solid)
        assert np.array_equal(matrix_of(a.placed.at * form_a.at), matrix_of(b.placed.at * form_b.at))
        names_a, names_b = (
            [f.placed.face_names[i] for i in form.drawn_faces] for f, form in ((a, form_a), (b, form_b))
        )
        assert names_a == names_b
        back_a, back_b = (
            {form.drawn_faces.index(i) for i in f.back_faces} for f, form in ((a, form_a), (b, form_b))
        )
        assert back_a == back_b


def test_script_and_toml_hold_by_the_same_numbers(checked):
    """The link on edge is the held model that takes the least time; all of its result is compared."""
    results = [apart_from_files(checked("link/on_edge_held" + suffix)[1]) for suffix in (".py", ".toml")]
    assert json.dumps(results[0]) == json.dumps(results[1])


def test_pawls_hold_against_a_screwed_stop_while_their_steel_stays_a_guess(checked):
    _, result = checked("index_pawl/rev_b_held.py")
    held = [f for f in result["findings"] if f["check"] == "hold" and "without" not in f["subject"]]
    assert [f["verdict"] for f in held] == ["go"] * 4
    assert all(3.0 < f["value"] < 15.0 for f in held)
    told = result["holding"]
    for part in told["parts"]:
        # Between the two curves that the steel is taken to lie between.
        low, high = part["pull_n"]
        assert 2.0 < high / low < 8.0
    assert any("no B-H curve" in note for note in told["notes"])


def test_on_edge_the_link_is_hardly_drawn_down_and_goes_at_a_touch(checked):
    _, result = checked("link/on_edge_held.py")
    (hold,) = [f for f in result["findings"] if f["check"] == "hold" and f["subject"] == "link in top"]
    assert hold["value"] < 0.2
    assert hold["says"].startswith("link lets go at 0.0")
    low, high = result["holding"]["parts"][0]["pull_n"]
    # A soft magnet drives much more flux over the edge than a stiff one; the low end is what counts.
    assert 0.0 < low < 30.0
    assert low < high < 300.0


def test_a_milled_link_that_tips_up_into_the_cutter_is_shown_with_its_cures(checked):
    code, result = checked("link/milled.toml")
    assert (result["verdict"], code) == ("no-go", 1)
    told = {f["check"]: f for f in bad(result) if f["kind"] != "loss"}
    assert {name: f["verdict"] for name, f in told.items()} == {"hold": "no-go", "crash": "no-go"}
    # Without the parallel it still bears its load, which is no finding of its own.
    assert [f for f in bad(result) if f["kind"] == "loss"] == []
    # Pushed along the jaws by its teeth and up by their flutes, at the end where it comes in.
    assert "link tips to the right" in told["crash"]["says"]
    assert "into the cutter. Within 2 mm a tooth bites" in told["crash"]["says"]
    (part,) = result["holding"]["parts"]
    assert (part["part"], part["cut"], part["outcome"]) == ("link", "edge", "digs in")
    assert 1.0 < part["factor_low"] < result["holding"]["least_factor"] <= part["factor_high"]
    # One tooth of three, 41 to 118 N by the law of Kienzle, and square to it and up besides.
    assert part["milling_n"][1] < math.hypot(*part["load_n"]) < 2.0 * part["milling_n"][1]
    assert part["press_n"] == part["drag_n"] == [0, 0]
    assert {loss["lost"] for loss in part["losses"]} == {"without parallel"}
    assert all(1.0 < loss["factor"] < part["factor_low"] for loss in part["losses"])
    shallower, tighter, slower, stopped = part["remedies"]
    assert shallower.startswith("Mill 0.30 mm deep at a time instead of 0.5")
    assert tighter.startswith("Tighten screw to 20.")
    assert slower.startswith("Feed 0.015 mm for each tooth instead of 0.03")
    assert stopped.startswith("Fasten a block against the right side of link")


def test_milled_as_deep_as_told_it_holds_and_is_still_no_place_to_let_go(checked):
    code, result = checked("link/milled.py", "--set", "deep_mm=0.3")
    assert (result["verdict"], code) == ("caution", 0)
    assert {(f["check"], f["verdict"]) for f in bad(result)} == {("crash", "caution")}
    (told,) = [f for f in bad(result) if f["subject"] == "link in edge"]
    assert told["says"].startswith("link holds 3.")
    assert "times the cutting load (3 required; " in told["says"]


def members(group: dict) -> list[int]:
    return [group["lead"], *group["like"]]


@pytest.mark.parametrize("model", VERDICTS)
def test_every_finding_has_a_kind_and_is_in_one_group(checked, model):
    _, result = checked(model + ".toml")
    findings, groups = result["findings"], result["groups"]
    assert all(f["kind"] for f in findings)
    told = sorted(i for g in groups for one in (g, *g["follows"]) for i in members(one))
    assert told == list(range(len(findings)))
    for group in groups:
        assert len({(findings[i]["check"], findings[i]["verdict"]) for i in members(group)}) == 1


def test_three_pawls_that_do_not_nest_are_told_as_one_no_go(checked):
    _, result = checked("index_pawl/rev_a.toml")
    (group,) = [g for g in result["groups"] if result["findings"][g["lead"]]["verdict"] == "no-go"]
    parts = {result["findings"][i]["about"][0] for i in members(group)}
    assert parts == {"pawl_2.back", "pawl_3.back", "pawl_4.back"}


def test_two_blocks_that_the_wheel_hits_are_told_as_one_no_go(checked):
    _, result = checked("gib/thick_block.toml")
    (group,) = [g for g in result["groups"] if result["findings"][g["lead"]]["verdict"] == "no-go"]
    assert len(members(group)) == 2


def test_the_assembly_states_what_the_script_states_and_how_the_gib_is_pushed(monkeypatch):
    monkeypatch.syspath_prepend(str(MODELS / "gib"))
    script, assembly = (load(MODELS / "gib" / name) for name in ("held.py", "held_assembly.py"))
    assert [b.name for b in assembly.bodies] == [b.name for b in script.bodies]
    for one, other in zip(script.bodies, assembly.bodies, strict=True):
        assert one.at.toTuple() == other.at.toTuple()
        assert one.face_names() == other.face_names()
        assert (one.material, dict(one.finish)) == (other.material, dict(other.finish))
    stated = ("name", "seats", "cuts", "wheel", "machine", "holding")
    assert all(getattr(script, key) == getattr(assembly, key) for key in stated)
    assert script.staging is None
    assert assembly.staging.push["gib"].direction == (-1.0, 1.0, 0.0)
    # Nothing is assumed of the one that is not assumed of the other, but for the staging.
    assert {r for r in assumed(assembly) if "staging" not in r.of} == set(assumed(script))


_POWER_OF_TEN = re.compile(r"\d[eE][+-]?\d")


@pytest.mark.parametrize("model", VERDICTS)
def test_a_number_its_limit_and_its_sentence_agree(checked, model):
    """What a sentence repeats is written as the finding's number; a margin is what value and limit say."""
    _, result = checked(model + ".toml")
    write = Writing(units=result["setup"]["units"])
    for finding in result["findings"]:
        text = f"{finding['says']} {finding['remedy'] or ''} {finding['source']}"
        assert not _POWER_OF_TEN.search(re.sub(r"\w+[.+]\S+", "", text)), text
        if finding["limit"] is not None:
            apart = abs(abs(finding["value"]) - finding["limit"]), abs(finding["value"] - finding["limit"])
            assert min(abs(abs(finding["margin"]) - a) for a in apart) < 1e-5 * (1 + abs(finding["value"]))
            if finding["verdict"] == "go":
                assert finding["margin"] >= -1e-9, finding
            elif finding["verdict"] == "no-go":
                assert finding["margin"] < 0, finding
        given = [abs(v) for v in (finding["value"], finding["limit"]) if v]
        numbers = [write.quantity(v, finding["unit"]).partition(" ")[0] for v in given]
        unit = re.escape(write.quantity(2.0, finding["unit"]).partition(" ")[2])
        for told in re.findall(rf"(?<![\w.])(\d[\d.]*) {unit}(?![\w/])", finding["says"]):
            near = [n for n in numbers if abs(float(told) - float(n)) <= 0.01 * float(n)]
            assert not near or float(told) in map(float, near), finding


def test_every_finding_of_every_model_has_an_id_a_unit_and_a_line(checked):
    """Ids are unique, one question of a check has one unit, and what a TOML states is found in it."""
    units: dict[tuple[str, str], set[str]] = {}
    for model in VERDICTS:
        _, result = checked(f"{model}.toml")
        file = MODELS / f"{model}.toml"
        assert (result["setup"]["file"], result["setup"]["sources"][0]["path"]) == (file.name, file.name)
        ids = [f["id"] for f in result["findings"]]
        assert len(set(ids)) == len(ids)
        assert not [i for i in ids if "~" in i], "names tell all findings of the models apart"
        rows = file.read_text().splitlines()
        for finding in result["findings"]:
            units.setdefault(tuple(finding["id"].split("/")[:2]), set()).add(finding["unit"])
            assert finding["origin"]["file"] == file.name
            assert rows[(finding["origin"]["line"] or 1) - 1].lstrip().startswith(("[", "#")), finding
    assert {question: found for question, found in units.items() if len(found) > 1} == {}
