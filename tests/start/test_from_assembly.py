"""`new --from`: an assembly comes back as the set-up that it was written from; a stranger is read."""

from __future__ import annotations

import tomllib
from pathlib import Path

import cadquery as cq
import pytest

from fixturecheck import engine
from fixturecheck.errors import SetupError
from fixturecheck.report.write import write_setup_step
from fixturecheck.result.finding import Verdict
from fixturecheck.setup.load import load
from fixturecheck.setup.model import Setup
from fixturecheck.start.assembly import set_up_of
from fixturecheck.start.write import assembly_text
from tests.doors import command

ROOT = Path(__file__).parents[2]
MODELS = ("key/key.toml", "index_pawl/rev_b.toml")


def written(path: Path, folder: Path, **wishes: str) -> Setup:
    out = folder / "from.toml"
    out.write_text(assembly_text(set_up_of(path, **wishes), folder))
    return load(out)


def seats_of(setup: Setup) -> set[tuple[str, str]]:
    return {(str(s.own), str(s.other)) for s in setup.seats}


@pytest.mark.parametrize("model", MODELS)
def test_what_a_check_wrote_comes_back_with_the_same_bodies_and_seats(model: str, tmp_path: Path) -> None:
    before = load(ROOT / "models" / model)
    first = engine.check(before)
    write_setup_step(tmp_path / "setup.step", first, before)
    after = written(tmp_path / "setup.step", tmp_path)
    assert [b.name for b in after.bodies] == [b.name for b in before.bodies]
    assert [b.name for b in after.parts()] == [b.name for b in before.parts()]
    assert seats_of(after) == seats_of(before)
    assert {s.own: s.rank for s in after.seats} == {s.own: s.rank for s in before.seats}
    assert [c.floor for c in after.cuts] == [c.floor for c in before.cuts]
    second = engine.check(after)
    known = {f.id: f.verdict for f in first.findings}
    worse = [f.id for f in second.findings if f.verdict is not known.get(f.id, Verdict.GO)]
    assert worse == []
    assert second.verdict is first.verdict


def assembly(path: Path, **solids: cq.Workplane) -> Path:
    whole = cq.Assembly(name="whole")
    for name, drawn in solids.items():
        whole.add(drawn.val(), name=name)
    whole.export(str(path))
    return path


def slab(length: float, wide: float, high: float, at: tuple[float, float, float]) -> cq.Workplane:
    """A block on its middle, `at` the middle of its base."""
    return cq.Workplane().box(length, wide, high, centered=(True, True, False)).translate(at)


def test_a_strangers_plate_with_a_rail_and_two_stops(tmp_path: Path) -> None:
    """By hand: the slide lies on the plate, its long side on the rail, its ends on the stops."""
    path = assembly(
        tmp_path / "bench.step",
        plate=slab(200, 100, 20, (0, 0, -20)),
        rail=slab(200, 10, 26, (0, 55, -20)),
        left=slab(10, 20, 6, (-35, 40, 0)),
        right=slab(10, 20, 6, (35, 40, 0)),
        slide=slab(60, 30, 12, (0, 35, 0)),
    )
    setup = written(path, tmp_path)
    assert [b.name for b in setup.parts()] == ["slide"]
    assert {b.name: b.group for b in setup.bodies if b.group} == dict.fromkeys(("plate", "rail"), "base")
    assert {(s.on, s.rank) for s in setup.seats} == {
        ("plate", "primary"), ("rail", "secondary"), ("left", "stop"), ("right", "stop"),
    }  # fmt: skip
    stated = tomllib.loads((tmp_path / "from.toml").read_text())
    assert {"body.slide.role", "seat.1.rank", "cut.top.floor"} <= set(stated["setup"]["guessed"])
    assert engine.check(setup, only=("seat", "reach", "clear")).verdict is Verdict.GO


def test_the_part_may_be_named(tmp_path: Path) -> None:
    path = assembly(
        tmp_path / "two.step",
        plate=slab(100, 100, 20, (0, 0, -20)),
        low=slab(20, 20, 8, (-10, 0, 0)),
        high=slab(20, 30, 12, (10, 0, 0)),
    )
    assert [b.name for b in written(path, tmp_path).parts()] == ["high"]
    assert [b.name for b in written(path, tmp_path, part="low").parts()] == ["low"]
    with pytest.raises(SetupError, match=r"body 'lo' is not known; did you mean 'low'\?"):
        set_up_of(path, part="lo")
    with pytest.raises(SetupError, match="no level face of that name"):
        set_up_of(path, part="low", floor="face_1")


def test_bad_assemblies_are_refused_in_one_line(tmp_path: Path) -> None:
    apart = assembly(tmp_path / "apart.step", a=slab(5, 5, 5, (0, 0, 0)), b=slab(5, 5, 5, (50, 0, 0)))
    alone = assembly(tmp_path / "alone.step", a=slab(5, 5, 5, (0, 0, 0)))
    for path, says in ((apart, "stands on another"), (alone, "holds one solid")):
        with pytest.raises(SetupError, match=says) as refused:
            set_up_of(path)
        assert len(refused.value.problems) == 1
    for words, says in (
        (["--from", apart, "--count", "2"], "--count does not go with --from"),
        (["--from", apart, "--on", "vise"], "--on does not go with --from"),
        ([apart, "--part", "a"], "--part goes with --from"),
        ([apart, "--from", apart], "not both"),
        ([], "give the STEP file of a part"),
    ):
        answer = command("new", *words)
        assert answer.returncode == 2
        assert says in answer.stderr


def test_the_command_writes_file_and_page(tmp_path: Path) -> None:
    path = assembly(
        tmp_path / "pair.step", plate=slab(80, 60, 20, (0, 0, -20)), block=slab(30, 20, 12, (0, 0, 0))
    )
    out = tmp_path / "pair.toml"
    answer = command("new", "--from", path, "--out", out, "--explain", "--no-pictures")
    assert answer.returncode == 0, answer.stderr
    assert "block ground: stands, carries nothing" in answer.stdout
    assert (tmp_path / "pair_check" / "report.html").is_file()
    assert (tmp_path / "setup.schema.json").is_file()
