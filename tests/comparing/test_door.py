"""`fixturecheck compare` on two blocks on a plate, with known differences between their drawings."""

from __future__ import annotations

import json
import shutil
import subprocess

import pytest

from tests.doors import command

SCRIPT = """
import cadquery as cq
import fixturecheck as fc

LENGTH, LEG, NAME, SEATED, AT = {length}, {leg}, {name!r}, {seated}, {at}

plate = cq.Workplane().box(200, 60, 10, centered=(True, True, False)).translate((0, 0, -10))
block = cq.Workplane().box(LENGTH, 12, 8, centered=False)
if LEG:
    block = block.edges("<X and <Z").chamfer(LEG)
sides = {{"left": "<X", "right": ">X", "bottom": "<Z"}}
bodies = [
    fc.body("plate", plate, role="fixture", faces={{"top": ">Z"}}),
    fc.body("first", cq.Workplane().box(20, 12, 8, centered=False), faces=sides),
    fc.body(NAME, block, at=(AT, 0, 0), faces=sides),
]
seats = [fc.Seat(body="first", face="bottom", on="plate", on_face="top", rank="primary")]
if SEATED:
    seats.append(fc.Seat(body=NAME, face="bottom", on="plate", on_face="top", rank="primary"))
seats.append(fc.Seat(body=NAME, face="left", on="first", on_face="right", rank="nest"))
setup = fc.Setup(name="two blocks", bodies=bodies, seats=seats)
"""
PLAIN = {"length": 20.0, "leg": 0.0, "name": "second", "seated": True, "at": 20.0}


@pytest.fixture(scope="module")
def home(tmp_path_factory):
    return tmp_path_factory.mktemp("compared")


def written(home, called, **changed):
    path = home / f"{called}.py"
    path.write_text(SCRIPT.format(**{**PLAIN, **changed}))
    return path


def compared(home, *results, options=("--no-pictures",)):
    out = home / "out"
    shutil.rmtree(out, ignore_errors=True)
    ran = command("compare", *results, "--out", out, "--quiet", *options)
    told = json.loads((out / "comparison.json").read_text()) if (out / "comparison.json").exists() else {}
    return ran, told


@pytest.fixture(scope="module")
def before(home):
    """The plain set-up, checked into a folder."""
    out = home / "before"
    assert command("check", written(home, "plain"), "--out", out, "--no-pictures").returncode == 0
    return out


def changes(told):
    return {f["id"]: f["change"] for f in told["findings"] if f["change"] != "same"}


def test_a_result_folder_compared_with_its_set_up_says_nothing(home, before):
    ran, told = compared(home, before, home / "plain.py")
    assert ran.returncode == 0, ran.stderr
    assert (changes(told), told["stated"], told["solids"]) == ({}, [], [])
    assert "Nothing got worse than its limit." in ran.stdout


def test_a_relief_that_was_added_is_told_by_its_volume_and_its_face(home, before):
    """A chamfer with two legs of 0.8 along an edge of 12 takes a prism off."""
    ran, told = compared(home, before, written(home, "relieved", leg=0.8))
    (solid,) = told["solids"]
    assert (solid["after"], solid["added_mm3"]) == ("second", 0)
    assert solid["removed_mm3"] == pytest.approx(0.5 * 0.8**2 * 12, abs=1e-6)
    assert [f["after"] for f in solid["faces"] if f["moved_mm"] is None] == ["face_2"]
    assert ran.returncode == 0
    share = next(f for f in told["findings"] if f["id"] == "seat/share/second.bottom/plate.top")
    assert share["change"] == "same", "all of the face still touches"


def test_a_face_that_moved_by_13_um_opens_the_nest(home, before):
    """The second block loses 13 um at its left and stands where it stood, so its nest is open by as much."""
    ran, told = compared(home, before, written(home, "short", length=19.987, at=20.013))
    (solid,) = told["solids"]
    (moved,) = [f for f in solid["faces"] if f["moved_mm"]]
    # In its own frame the block begins at x = 0, and is its right side that came nearer.
    assert (moved["after"], moved["moved_mm"]) == ("right", pytest.approx(-0.013, abs=1e-6))
    assert solid["removed_mm3"] == pytest.approx(0.013 * 12 * 8, rel=1e-3)
    assert [(s["about"], s["key"], s["before"], s["after"]) for s in told["stated"]] == [
        (["second"], "at_mm", [20, 0, 0], [20.013, 0, 0])
    ]
    nest = next(f for f in told["findings"] if f["id"] == "nest/gap/second.left/first.right")
    assert (nest["change"], nest["worse_than_limit"]) == ("worse", True)
    assert nest["after"]["value"] == pytest.approx(0.013, abs=1e-6)
    assert ran.returncode == 1
    assert "worse: go to caution  nest, drawn open  second.left on first.right" in ran.stdout


def test_a_renamed_body_is_the_same_body(home, before):
    ran, told = compared(home, before, written(home, "renamed", name="stop"))
    assert (changes(told), told["stated"], ran.returncode) == ({}, [], 0)
    assert [(s["before"], s["after"]) for s in told["solids"]] == [("second", "stop")]
    assert "second, now stop: renamed" in ran.stdout


def test_a_seat_that_was_dropped_is_told_with_what_it_answered(home, before):
    ran, told = compared(home, before, written(home, "dropped", seated=False))
    # What it still touches is now a contact that no seat states, which is a caution.
    assert changes(told) == {
        "seat/not-meant/second.bottom/plate.top": "worse",
        "seat/gap/second.bottom/plate.top": "gone",
    }
    assert [(s["change"], s["of"], s["about"]) for s in told["stated"]] == [
        ("gone", "seat", ["second.bottom", "plate.top"])
    ]
    assert ran.returncode == 1


def test_a_baseline_lets_the_known_stand_and_fails_on_the_new(home, before):
    short, known = written(home, "short", length=19.987, at=20.013), home / "known.json"
    wrote = command("compare", short, "--write-baseline", known, "--out", home / "kept", "--no-pictures",
                    "--quiet")  # fmt: skip
    assert wrote.returncode == 0
    assert "Nothing got worse than its limit; 1 known shortfall let stand." in wrote.stdout
    assert wrote.stdout.endswith(f"1 known shortfall written to {known}\n")
    assert json.loads(known.read_text())["known"][0]["id"] == "nest/gap/second.left/first.right"
    ran, told = compared(home, before, short, options=("--no-pictures", "--baseline", known))
    assert ran.returncode == 0
    assert [f["known"] for f in told["findings"] if f["change"] == "worse"] == [True]
    alone, _ = compared(home, short, options=("--no-pictures", "--baseline", known))
    assert alone.returncode == 0
    # One that is no longer short is said to be let stand for nothing.
    mended, told = compared(home, before, home / "plain.py", options=("--no-pictures", "--baseline", known))
    assert told["no_longer_short"] == ["nest/gap/second.left/first.right"]
    assert "no longer short, take it out of the baseline: nest/gap/second.left/first.right" in mended.stdout
    assert mended.returncode == 0
    shorter = written(home, "shorter", length=19.9, at=20.1)
    assert compared(home, shorter, options=("--no-pictures", "--baseline", known))[0].returncode == 1


def test_a_revision_of_git_is_compared_with_what_is_there(home, before, monkeypatch):
    repository = home / "repository"
    (repository / "drawings").mkdir(parents=True)
    path = written(repository / "drawings", "pair")

    def git(*words):
        who = ("-c", "user.name=x", "-c", "user.email=x@localhost")
        subprocess.run([shutil.which("git"), *who, *words], cwd=repository, check=True, capture_output=True)

    git("init", "-q")
    git("add", ".")
    git("commit", "-q", "-m", "first")
    written(repository / "drawings", "pair", leg=0.8)
    monkeypatch.chdir(repository)
    ran, told = compared(home, "HEAD:drawings/pair.py", path)
    assert ran.returncode == 0, ran.stderr
    assert told["before"]["called"] == "HEAD:drawings/pair.py"
    assert told["solids"][0]["removed_mm3"] == pytest.approx(0.5 * 0.8**2 * 12, abs=1e-6)
    for spec, says in (("HEAD:none.py", "revision HEAD has no none.py"), ("nowhere:pair.py", "nowhere")):
        refused, _ = compared(home, spec, path)
        assert refused.returncode == 2
        assert says in refused.stderr


def test_before_and_after_are_drawn_side_by_side(home, before):
    out = home / "drawn"
    ran = command("compare", before, written(home, "relieved", leg=0.8), "--out", out, "--quiet")
    assert ran.returncode == 0, ran.stderr
    names = sorted(p.name for p in (out / "pictures").iterdir())
    assert names == ["01_after.png", "01_before.png", "02_after.png", "02_before.png"]
    page = (out / "comparison.html").read_text()
    assert page.count("data:image/png") == 4
    assert "3.84" in page


def test_what_cannot_be_compared_is_refused_in_one_line_each(home, before):
    broken, newer = home / "broken.json", home / "newer.json"
    data = json.loads((before / "result.json").read_text())
    broken.write_text("{")
    newer.write_text(json.dumps(data | {"schema": 99}))
    other = home / "other.json"
    text = json.dumps(data).replace("first", "one").replace("second", "two").replace("plate", "table")
    moved = json.loads(text)
    for body in moved["bodies"]:
        body["centre_mm"] = [v + 500 for v in body["centre_mm"]]
    other.write_text(json.dumps(moved))
    known = home / "strange.json"
    known.write_text(
        '{"tool": "fixturecheck", "baseline": 1, "setup": "gib", "file": "gib.toml", "known": []}'
    )
    refused = {
        (before,): "one result is given; give another one, or --baseline FILE",
        (before, before, before): "3 results are given; two can be compared",
        (before, broken): "broken.json is no result.json",
        (before, newer): "was written in schema 99, and this version reads up to 2",
        (before, other): "are of different set-ups: no part of the one is in the other",
        (before, home / "nothing.toml"): "is no set-up, result folder, result.json or REV:path",
        (before, home): "holds no result.json",
        (before, before, "--baseline", home / "no"): "is not a file; --write-baseline FILE writes one",
        (
            before,
            before,
            "--baseline",
            known,
        ): "is the baseline of another set-up, 'gib', not of 'two blocks'",
        (before, "--write-baseline", home / "none" / "b.json"): "there is no folder",
        (before, before, "--only", "nests"): "there is no check 'nests'",
    }
    for words, says in refused.items():
        ran, told = compared(home, *words)
        assert ran.returncode == 2, words
        assert told == {}
        assert says in ran.stderr
        assert ran.stderr.count("\n") == 1


def test_files_for_a_build_are_written_by_check_and_by_compare(home, before):
    short = written(home, "short", length=19.987, at=20.013)
    files = {name: home / f"build.{name}" for name in ("junit", "sarif", "summary")}
    options = [word for name, file in files.items() for word in (f"--{name}", file)]
    out = home / "built"
    ran = command("check", short, "--out", out, "--no-pictures", "--quiet", *options, "--annotate", "plain")
    assert ran.returncode == 0, ran.stderr
    assert '<testcase name="nest/gap/second.left/first.right"' in files["junit"].read_text()
    # The script names its second body on the line of its parameters.
    line = next(n for n, text in enumerate(SCRIPT.splitlines(), start=1) if "NAME, SEATED" in text)
    (told,) = json.loads(files["sarif"].read_text())["runs"][0]["results"]
    place = told["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"].endswith("short.py")
    assert place["region"]["startLine"] == line
    assert "▲ CAUTION: two blocks" in files["summary"].read_text()
    assert f"short.py:{line}: warning: nest: second.left on first.right" in ran.stdout
    # Held against itself nothing is worse, so that nothing fails.
    same, _ = compared(home, short, short, options=("--no-pictures", *options, "--annotate", "workflow"))
    assert same.returncode == 0
    assert "::warning" not in same.stdout
    assert "```text\n" in files["summary"].read_text()
    assert "Nothing got worse than its limit.\n" in files["summary"].read_text()
    worse, _ = compared(home, before, short, options=("--no-pictures", "--annotate", "workflow"))
    assert worse.returncode == 1
    assert f"short.py,line={line},title=nest%3A second.left on first.right::" in worse.stdout
    lost, _ = compared(home, short, short, options=("--no-pictures", "--junit", home / "none" / "x.xml"))
    assert lost.returncode == 2
    assert "there is no folder" in lost.stderr
