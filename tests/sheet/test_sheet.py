"""The sheet read back by another library: its text, pages and paper; the same bytes twice; what it says."""

from __future__ import annotations

import io
import itertools
from dataclasses import replace
from types import SimpleNamespace

import pytest
from pypdf import PdfReader

from fixturecheck import engine
from fixturecheck.errors import SetupError
from fixturecheck.process.records import Operation
from fixturecheck.report.pictures.render import HEIGHT
from fixturecheck.report.pictures.scene import BODIES, set_stage
from fixturecheck.report.statements import at_the_machine
from fixturecheck.report.write import meshes_of
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.result.release import Burr
from fixturecheck.setup.dials import Handwheel
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.model import Seat
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.setup.tools import EndMilling, MillMove
from fixturecheck.sheet import pages
from fixturecheck.sheet.content import (
    burrs_together,
    sheet_of,
    staged_steps,
)
from fixturecheck.sheet.measured import (
    MeasureRow,
    gauge_for,
    measured_of,
)
from fixturecheck.sheet.operation import bare_sheet, edges_stoned, staged_scenes, with_operation, with_whole
from fixturecheck.units import Writing
from tests.doors import command
from tests.report import staged

SKIPPED = "hold,crash,release"
JOB = SimpleNamespace(sources=(), write=Writing(units="mm"))


@pytest.fixture(scope="module")
def setup():
    plain = staged.setup()
    dial = Handwheel(graduation_mm=0.01, turn_mm=1.0, counts_up="down")
    return replace(plain, machine=replace(plain.machine, downfeed=dial))


@pytest.fixture(scope="module")
def sheet(setup):
    result = engine.check(setup, only=("seat", "dials"))
    return sheet_of(result, setup, list(measured_of(setup)), number="20", title="grind the tops")


def words(pdf: bytes) -> str:
    """The text of a PDF on one line: where lines are broken is the typesetter's."""
    told = " ".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages)
    return " ".join(told.replace("\u200b", "").split())


@pytest.fixture(scope="module")
def pdf(sheet):
    return pages.sheet_pdf([sheet, replace(sheet, number="30")], {}, paper="a4")


def test_every_text_of_the_sheet_is_in_the_pdf(sheet, pdf):
    text = words(pdf)
    told = [sheet.title, sheet.verdict, *sheet.safety]
    told += [line.text for line in (*sheet.seats, *sheet.hold, *sheet.wheel, *sheet.off)]
    told += [step.text for step in sheet.steps]
    told += [v for cut in sheet.cuts for row in cut.rows for v in (row.do, row.read, row.shows) if v]
    told += [v for row in sheet.measures for v in (row.face, row.size, row.tolerance)]
    squeezed = text.replace(" ", "").replace("\u2019", "'")
    missing = [t for t in told if t.replace(" ", "").replace("\u2019", "'") not in squeezed]
    assert missing == []


def test_an_operation_takes_a_page_or_two_and_begins_on_a_new_one(pdf):
    reader = PdfReader(io.BytesIO(pdf))
    texts = [" ".join(p.extract_text().split()) for p in reader.pages]
    starts = [i for i, t in enumerate(texts) if t.startswith(("20 grind the tops", "30 grind the tops"))]
    assert len(starts) == 2
    assert starts[0] == 0
    assert 1 <= starts[1] <= 2
    assert len(reader.pages) <= 4
    # Each page says whose it is, should the pages be parted.
    assert all("grind the tops, page" in t for t in texts)


def test_a_sheet_that_would_take_three_pages_is_set_closer(sheet):
    """Only the one that would: the other keeps its large letters."""
    long = replace(
        sheet, number="40", cautions=tuple(f"CAUTION: {n} {'of many words ' * 32}." for n in range(8))
    )
    reader = PdfReader(io.BytesIO(pages.sheet_pdf([sheet, long], {}, paper="letter")))
    texts = [p.extract_text() for p in reader.pages]
    assert [
        sum(f"{title}, page" in t for t in texts) for title in ("20 grind the tops", "40 grind the tops")
    ] == [
        len(PdfReader(io.BytesIO(pages.sheet_pdf([sheet], {}, paper="letter"))).pages),
        2,
    ]
    assert _letters_pt(reader.pages[0]) == 12.5
    assert _letters_pt(reader.pages[-1]) == 11.0


def test_long_names_leave_room_for_the_other_columns_of_what_is_measured(sheet):
    """A name of 60 letters is broken in its cell: each column keeps at least 20 mm of the page."""
    name = "bracket_of_the_left_end.bearing_surface_before_the_upper_wall"
    row = MeasureRow(face=name, size=f"1.000 mm from {name}", tolerance="by the drawing", gauge="micrometer")
    page = PdfReader(io.BytesIO(pages.sheet_pdf([replace(sheet, measures=(row,))], {}, paper="a4"))).pages
    at: dict[str, float] = {}
    for one in page:
        one.extract_text(visitor_text=lambda text, cm, _tm, _font, _size: at.setdefault(text.strip(), cm[4]))
    starts = [at[head] * 25.4 / 72 for head in ("face", "size", "tolerance", "with", "found")]
    assert all(b - a > 20.0 for a, b in itertools.pairwise([*starts, 210.0]))


def _letters_pt(page) -> float:
    """The size in which most of a page is written."""
    sizes: dict[float, int] = {}

    def count(text, _cm, _tm, _font, size):
        sizes[round(size, 2)] = sizes.get(round(size, 2), 0) + len(text)

    page.extract_text(visitor_text=count)
    return max(sizes, key=lambda s: sizes[s])


def test_burrs_of_like_parts_are_told_once(setup):
    """Two gibs have the same burrs, and each edge stands once on the sheet, with both gibs named."""
    burrs = [
        Burr(edge=f"{gib}.floor+end", ends=("+X",), sparks=True, seats=("end",), length_mm=9.0)
        for gib in ("gib_1", "gib_2")
    ]
    burrs.append(Burr(edge="gib_2.floor+back", ends=("+X", "-X"), sparks=True, seats=(), length_mm=9.0))
    assert [*burrs_together(burrs)] == [
        ("floor+end at the +X end (where the sparks leave, end is a seat)", ["gib_1", "gib_2"]),
        ("floor+back at both ends of the stroke", ["gib_2"]),
    ]


@pytest.mark.parametrize(("paper", "size_mm"), [("a4", (210.0, 297.0)), ("letter", (215.9, 279.4))])
def test_the_paper_is_the_one_asked_for(sheet, paper, size_mm):
    # ISO 216 and the letter of 8.5 by 11 in; a point is 1/72 in.
    box = PdfReader(io.BytesIO(pages.sheet_pdf([sheet], {}, paper=paper))).pages[0].mediabox
    size = tuple(float(v) * 25.4 / 72 for v in (box.width, box.height))
    assert size == pytest.approx(size_mm, abs=0.1)


def test_the_same_sheet_gives_the_same_bytes(sheet, pdf):
    assert pages.sheet_pdf([sheet, replace(sheet, number="30")], {}, paper="a4") == pdf


def test_names_that_look_like_markup_are_text(sheet):
    odd = replace(sheet, title="#pagebreak() <b>*x*</b> $1$")
    assert "#pagebreak() <b>*x*</b> $1$" in words(pages.sheet_pdf([odd], {}, paper="a4"))
    assert "&lt;b&gt;*x*" in pages.sheet_page([odd], {}, paper="a4")


def test_the_page_says_what_the_pdf_says(sheet):
    page = pages.sheet_page([sheet], {}, paper="letter")
    for text in (*[line.text for line in sheet.seats], *[row.do for cut in sheet.cuts for row in cut.rows]):
        assert text.replace("'", "&#39;") in page
    assert "size: letter" in page


def test_bodies_are_numbered_in_the_order_of_staging(setup):
    plain = [(s.number, s.name) for s in staged_steps(setup)]
    assert [n for n, _ in plain] == list(range(1, len(plain) + 1))
    assert plain[-1][1].startswith("gib")
    fixture = next(b.name for b in setup.bodies if b.role == "fixture")
    late = replace(
        setup, staging=Staging(order=("gib_2", "gib_1"), push={"gib_1": Push(direction=(-1.0, 0.0, 0.0))})
    )
    steps = {s.name: s for s in staged_steps(late)}
    assert steps["gib_2"].number < steps["gib_1"].number
    assert steps["gib_1"].text.endswith("push it toward -X")
    assert steps[setup.body(fixture).group or fixture].number == 1


def test_clamps_carry_their_torque_and_an_operation_what_it_stones(setup, sheet):
    strap = Clamp(name="strap", kind="strap", body="gib_1", at_mm=(0.0, 0.0, 10.0), torque_nm=12.0)
    held = replace(setup, holding=Holding(magnet="off", clamps=(strap,)))
    result = engine.check(held, only=("seat",))
    lines = [line.text for line in sheet_of(result, held, []).hold]
    assert "strap (strap clamp, on gib_1): tighten to 12 N m." in lines
    assert any(line.startswith("Set the heel of a strap as high") for line in lines)
    assert "Whether the parts hold was not worked out." in lines
    operation = Operation(number=20, name="tops", kind="grind", makes=("floor",), stones=(("floor", "back"),))
    stoned = sheet_of(result, held, [], stones=edges_stoned(operation)).seats[0].text
    assert stoned.startswith("Stone the edges of floor to back of each part")
    told = with_operation(sheet, JOB, operation, held)
    assert told.does == ("Grind: floor.",)


def test_the_usual_cautions_are_those_of_the_work(setup, sheet):
    """A vise in which nothing is stated to cut takes those of its operation; an end mill never a wheel's."""
    bare = replace(setup, cuts=())
    for kind, said in (
        ("mill", "Look the cutter over"),
        ("drill", "Chuck key out"),
        ("stone", "edges are sharp"),
    ):
        operation = Operation(number=40, name="pocket", kind=kind)
        told = " ".join(with_operation(sheet, JOB, operation, bare).safety)
        assert said in told
        assert "ring it" not in told
    run = EndMilling(
        name="slot", parts=("gib_1",), makes=("top",), diameter_mm=6.0, flute_mm=12.0, stick_out_mm=20.0,
        stock_mm=1.0, moves=(MillMove(kind="pocket", face="top"),),
    )  # fmt: skip
    milled = replace(bare, end_mills=(run,))
    (lines,) = at_the_machine(milled)
    assert any(line.startswith("Look the cutter over") for line in lines)
    told = sheet_of(engine.check(bare, only=("seat",)), milled, [])
    assert [line.text for line in told.cutter] == [
        "End mill slot: square, 6 mm, flutes 12 mm, stands out 20 mm of a nut of 40 mm; makes top.",
        "Move 1 of slot: pocket over top.",
    ]
    assert "Tug every part and every block by hand before the cutter turns." in [x.text for x in told.hold]


def test_an_operation_without_a_set_up_is_no_go_of_any_sort():
    operation = Operation(number=60, name="harden", kind="harden")
    bare = bare_sheet(JOB, operation, [])
    assert bare.verdict == "NOT CHECKED"
    bad = Finding(check="route", verdict=Verdict.NO_GO, subject="floor", says="So.")
    assert bare_sheet(JOB, operation, [bad]).verdict == "NO-GO"


@pytest.mark.parametrize(
    ("zone_mm", "gauge"),
    [(0.2, "caliper"), (0.1, "micrometer or depth"), (0.02, "vernier"), (0.004, "0.5 µm"), (None, "drawing")],
)
def test_a_gauge_reads_a_tenth_of_the_tolerance(zone_mm, gauge):
    # The rule of ten: common practice, no source.
    assert gauge in gauge_for(zone_mm, "mm")


def test_a_gauge_is_graduated_in_the_units_of_the_sheet():
    # A step of 0.00002 in is the finest of indicators in inches: common practice, no source.
    assert "indicator of 0.00002 in or finer" in gauge_for(0.004, "inch")


def test_a_face_with_stock_left_is_measured_as_a_rough_one(setup):
    """0.1 mm left: a tenth of that is read by a micrometer, whatever the zone of the finished face."""
    tight = replace(
        setup,
        bodies=tuple(replace(b, tolerance_mm={"*": 0.004}) if b.role == "part" else b for b in setup.bodies),
    )
    result = engine.check(tight, only=("seat",))
    heights = list(measured_of(tight))
    finished, rough = (
        sheet_of(result, tight, heights, left_mm=left).measures[0] for left in ({}, {"top": 0.1})
    )
    assert (finished.tolerance, rough.tolerance) == ("±0.002 mm", "rough: 0.1 mm is left")
    assert "indicator" in finished.gauge
    assert rough.gauge == "micrometer or depth micrometer"


def test_sizes_are_measured_from_the_seat(setup):
    # The gib is drawn 10 mm high.
    seats = (
        Seat(body="gib_1", face="y_high", on="rail", on_face="y_low", rank="secondary"),
        Seat(body="gib_1", face="bottom", on="plate", on_face="top"),
    )
    floor = next(iter(measured_of(replace(setup, seats=seats))))
    assert (floor.face, floor.over, floor.parts) == ("gib_1.top", "gib_1.bottom", 2)
    assert floor.size_mm == pytest.approx(10.0)
    assert next(iter(measured_of(setup))).size_mm is None


def test_the_command_writes_both_beside_each_other_and_refuses_what_cannot_be(tmp_path):
    out = tmp_path / "not" / "there" / "gib.pdf"
    answer = command(
        "sheet", "models/gib/held.toml", "--skip", f"{SKIPPED},rest,location,tolerance", "--no-pictures",
        "--out", out, "--paper", "letter", "--quiet",
    )  # fmt: skip
    assert (answer.returncode, answer.stderr) == (0, "")
    text = words(out.read_bytes())
    assert "40 lines" in text
    assert "sha256" in text
    assert "Feed down to the reading in 20 passes" in out.with_suffix(".html").read_text(encoding="utf-8")
    wrong = command("sheet", "models/gib/held.toml", "--out", tmp_path / "gib.txt")
    assert wrong.returncode == 2
    assert "the sheet is a PDF" in wrong.stderr
    (tmp_path / "no").write_text("a file")
    wrong = command("sheet", "models/gib/held.toml", "--out", tmp_path / "no" / "deep" / "gib.pdf")
    assert (wrong.returncode, "cannot be made" in wrong.stderr) == (2, True)


@pytest.fixture(scope="module")
def pawl_sheet(tmp_path_factory):
    """The sheet of a whole job, without what takes long."""
    out = tmp_path_factory.mktemp("pawl") / "pawl.pdf"
    answer = command(
        "sheet", "models/index_pawl/job.toml", "--skip", f"clear,nest,dials,{SKIPPED}", "--no-pictures",
        "--quiet", "--out", out,
    )  # fmt: skip
    assert (answer.returncode, answer.stderr) == (0, "")
    return out


def test_the_sheet_of_a_job_has_a_page_or_two_for_each_operation_and_says_what_each_needs(pawl_sheet):
    """Sine of 45 degrees times 127 mm is 89.8025 mm; the hole of 2 mm starts on a seat of 2.5 mm."""
    reader = PdfReader(io.BytesIO(pawl_sheet.read_bytes()))
    texts = [" ".join(p.extract_text().split()) for p in reader.pages]
    titles = ["10 square up", "20 angle", "30 corner", "40 pocket", "50 cross hole", "60 harden", "70 final"]
    starts = [next(i for i, t in enumerate(texts) if t.startswith(title)) for title in titles]
    assert starts == sorted(starts)
    ends = [*starts[1:], len(texts)]
    assert all(1 <= end - start <= 2 for start, end in zip(starts, ends, strict=True))
    of = {
        title[:2]: " ".join(texts[start:end]) for title, start, end in zip(titles, starts, ends, strict=True)
    }
    page = pawl_sheet.with_suffix(".html").read_text(encoding="utf-8")
    for number, said in (
        ("20", "= 89.8025 mm from metric_88"),
        ("50", "seat of 2.5 mm"),
        ("60", "tempered at 200 °C"),
        ("60", "Hot steel looks like cold steel"),
        ("30", "Leave 0.1 mm on floor and 0.05 mm on wall"),
        ("40", "Look the cutter over"),
    ):
        plain = of[number].replace("\u202f", " ")
        assert said.replace(" ", "") in plain.replace(" ", "")
        assert said in page.replace("\u202f", " ")
    assert "Never run a wheel faster" not in of["60"] + of["50"] + of["40"]
    assert all("job.toml sha256" in text for text in of.values())


def test_what_a_job_lacks_as_a_whole_is_on_its_first_sheet(sheet):
    bad = Finding(check="stock", verdict=Verdict.NO_GO, subject="blank", says="Some of the blank stays.")
    told = with_whole(sheet, [bad])
    assert (told.verdict, told.cautions[0]) == ("NO-GO", "NO-GO: Some of the blank stays.")
    assert with_whole(sheet, []) is sheet


def test_without_the_typesetter_it_says_how_to_get_it(monkeypatch):
    monkeypatch.setattr(pages, "find_spec", lambda _name: None)
    with pytest.raises(SetupError, match=r"pip install 'fixturecheck\[sheet\]'"):
        pages.refuse_without_typesetter()


def test_the_pictures_carry_numbers_and_no_wheel_and_the_second_is_close(setup):
    alone = replace(setup, bodies=tuple(b for b in setup.bodies if b.name != "gib_2"), cuts=())
    result = engine.check(alone, only=("seat",))
    steps = list(staged_steps(alone))
    whole, near = staged_scenes(set_stage(result, meshes_of(result)), steps)
    # At 66 mm of 824 pixels, which the page gives it, no smaller than the text beside it.
    assert whole["letters_px"] * 66 / HEIGHT * 72 / 25.4 >= 10.5
    for scene in (whole, near):
        assert scene["labels"][steps[0].tag] == f"1  {steps[0].name}"
        assert {a["role"] for a in scene["actors"]} <= {*BODIES, "pole"}
    # A gib of 60 mm on a plate of 160 mm.
    assert near["camera"]["height_mm"] < 0.75 * whole["camera"]["height_mm"]
