"""The sheet read back by another library: its text, pages and paper; the same bytes twice; what it says."""

from __future__ import annotations

import io
from dataclasses import replace
from types import SimpleNamespace

import pytest
from pypdf import PdfReader

from fixturecheck import engine
from fixturecheck.errors import SetupError
from fixturecheck.process.records import Operation
from fixturecheck.report.pictures.scene import BODIES
from fixturecheck.result.finding import Finding, Verdict
from fixturecheck.setup.dials import Handwheel
from fixturecheck.setup.holding import Clamp, Holding
from fixturecheck.setup.model import Seat
from fixturecheck.setup.staging import Push, Staging
from fixturecheck.sheet import pages
from fixturecheck.sheet.content import gauge_for, sheet_of, staged_steps
from fixturecheck.sheet.measured import heights_of
from fixturecheck.sheet.operation import bare_sheet, with_operation, with_whole
from tests.doors import command
from tests.report import staged

SKIPPED = "hold,crash,release"


@pytest.fixture(scope="module")
def setup():
    plain = staged.setup()
    dial = Handwheel(graduation_mm=0.01, turn_mm=1.0, counts_up="down")
    return replace(plain, machine=replace(plain.machine, downfeed=dial))


@pytest.fixture(scope="module")
def sheet(setup):
    result = engine.check(setup, only=("seat", "dials"))
    return sheet_of(result, setup, list(heights_of(setup)), number="20", title="grind the tops")


def words(pdf: bytes) -> str:
    """The text of a PDF on one line: where lines are broken is the typesetter's."""
    return " ".join(" ".join(p.extract_text() for p in PdfReader(io.BytesIO(pdf)).pages).split())


@pytest.fixture(scope="module")
def pdf(sheet):
    return pages.sheet_pdf([sheet, replace(sheet, number="30")], {}, paper="a4")


def test_every_text_of_the_sheet_is_in_the_pdf(sheet, pdf):
    text = words(pdf)
    told = [sheet.title, sheet.verdict, *sheet.seats, *sheet.hold, *sheet.wheel, *sheet.off, *sheet.safety]
    told += [step.text for step in sheet.steps]
    told += [v for cut in sheet.cuts for row in cut.rows for v in (row.do, row.read, row.shows) if v]
    told += [v for row in sheet.measures for v in (row.face, row.size, row.tolerance)]
    squeezed = text.replace(" ", "").replace("\u2019", "'")
    missing = [t for t in told if t.replace(" ", "").replace("\u2019", "'") not in squeezed]
    assert missing == []


def test_an_operation_takes_a_page_or_two_and_begins_on_a_new_one(pdf):
    reader = PdfReader(io.BytesIO(pdf))
    starts = [i for i, p in enumerate(reader.pages) if "grind the tops" in p.extract_text()]
    assert len(starts) == 2
    assert starts[0] == 0
    assert 1 <= starts[1] <= 2
    assert len(reader.pages) <= 4


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
    for text in (*sheet.seats, *[row.do for cut in sheet.cuts for row in cut.rows]):
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
    lines = sheet_of(result, held, []).hold
    assert "strap (strap clamp, on gib_1): tighten to 12 N m." in lines
    assert "Whether the parts hold was not worked out." in lines
    operation = Operation(number=20, name="tops", kind="grind", makes=("floor",), stones=(("floor", "back"),))
    told = with_operation(sheet, SimpleNamespace(sources=()), operation)
    assert "Before seating, stone these edges: floor+back." in told.seats
    assert told.does == ("Grind: floor.",)


def test_an_operation_without_a_set_up_is_no_go_of_any_sort():
    operation = Operation(number=60, name="harden", kind="harden")
    bare = bare_sheet(SimpleNamespace(sources=()), operation, [])
    assert bare.verdict == "NOT CHECKED"
    bad = Finding(check="route", verdict=Verdict.NO_GO, subject="floor", says="So.")
    assert bare_sheet(SimpleNamespace(sources=()), operation, [bad]).verdict == "NO-GO"


@pytest.mark.parametrize(
    ("zone_mm", "gauge"),
    [(0.2, "caliper"), (0.1, "micrometer or depth"), (0.02, "vernier"), (0.004, "0.5 µm"), (None, "drawing")],
)
def test_a_gauge_reads_a_tenth_of_the_tolerance(zone_mm, gauge):
    # The rule of ten: common practice, no source.
    assert gauge in gauge_for(zone_mm)


def test_sizes_are_measured_from_the_seat(setup):
    # The gib is drawn 10 mm high.
    seats = (
        Seat(body="gib_1", face="y_high", on="rail", on_face="y_low", rank="secondary"),
        Seat(body="gib_1", face="bottom", on="plate", on_face="top"),
    )
    floor = next(iter(heights_of(replace(setup, seats=seats))))
    assert (floor.face, floor.over, floor.parts) == ("gib_1.top", "gib_1.bottom", 2)
    assert floor.size_mm == pytest.approx(10.0)
    assert next(iter(heights_of(setup))).size_mm is None


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
        "sheet", "models/index_pawl/job.toml", "--skip", "clear,nest,dials", "--no-pictures", "--quiet",
        "--out", out,
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
        ("30", "Leave 0.1 mm on floor"),
    ):
        plain = of[number].replace("\u202f", " ")
        assert said.replace(" ", "") in plain.replace(" ", "")
        assert said in page.replace("\u202f", " ")
    assert "Never run a wheel faster" not in of["60"] + of["50"]
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


def test_the_picture_carries_numbers_and_no_wheel(setup):
    from fixturecheck.report.pictures.scene import set_stage
    from fixturecheck.report.write import meshes_of
    from fixturecheck.sheet.picture import _scene

    result = engine.check(setup, only=("seat",))
    steps = list(staged_steps(setup))
    scene = _scene(set_stage(result, meshes_of(result)), steps)
    assert scene["labels"][steps[0].tag] == f"1  {steps[0].name}"
    assert {a["role"] for a in scene["actors"]} <= {*BODIES, "pole"}
