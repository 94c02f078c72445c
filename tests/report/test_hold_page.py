"""The hold in the page and at the terminal: everything found is told, and nothing unknown passes."""

from __future__ import annotations

import re
from dataclasses import replace

import pint
import pytest

from fixturecheck.report.hold_page import apart_section, hold_captions, hold_section
from fixturecheck.report.html import page
from fixturecheck.report.order import HOLD_FLUX, HOLD_PULL
from fixturecheck.report.terminal import hold_lines, table
from fixturecheck.wording.hold import amount, bounded_factor, digits, factor_words, range_words
from tests.report import staged, staged_hold
from tests.report.test_html import png, read

HOLD = staged_hold.hold()


@pytest.fixture(scope="module")
def told() -> str:
    result = staged_hold.result()
    return said(hold_section(result, {})) + " " + said(apart_section(result))


def said(text: str) -> str:
    return " ".join(" ".join(read(text).text).split())


def test_what_was_not_asked_has_no_section_and_no_lines() -> None:
    assert not hold_section(staged.result(), {})
    assert hold_lines(None, "mm") == []


def test_each_part_has_its_factor_with_what_was_asked(told: str) -> None:
    assert "gib_1 in top_flat at least 30 asked 3" in told
    assert "gib_2 in top_flat 1.23 to at least 30 asked 3" in told


def test_forces_are_ranges_with_their_unit(told: str) -> None:
    assert "100 to 200 N" in told
    assert "drag 5 to 15 N push 10 to 60 N" in told
    assert "push on wall" not in told


def test_digging_in_is_told_with_what_is_hit(told: str) -> None:
    assert "Digs into the wheel" in told
    assert "It then runs into the rail." in told


def test_an_outcome_that_was_not_computed_is_said_to_be_unknown() -> None:
    parts = (replace(staged_hold.WEAK, outcome=""),)
    result = replace(staged.result(), holding=replace(HOLD, parts=parts))
    assert "Whether it digs in is not known." in said(hold_section(result, {}))
    assert any("whether it digs in is not known" in line for line in hold_lines(result.holding, "mm"))


def test_losses_say_when_the_part_lets_go_and_when_nothing_is_known(told: str) -> None:
    assert "with a film of coolant 0.8 lets go under the cut gib_2 slides" in told
    assert "without rail not known no answer" in told


def test_only_the_worst_part_of_a_cut_is_told_at_length(told: str) -> None:
    assert "The part that holds least in this cut, of 2." in told
    assert "gib_2 in top_flat: 1.23 to at least 30 times its load" in told
    assert "gib_1 in top_flat: at least" not in told


def test_changes_missing_notes_and_coming_off_are_told(told: str) -> None:
    for words in (
        "Fasten a block against the left side of gib_2 (X 0.0, Y 0.0 to 20.0 mm), 8.0",
        "Feed down 0.0050",
        "Not known, and not a pass: gib_3 in top_flat: it has no finish",
        "Brass was meshed coarser than asked, 4.0 mm.",
        "Wheel clear of the work and the spindle at rest, magnet off. Then in this order.",
        "1 rail demagnetise before lifting, and again before the next seating "
        "2 to 4 N slide toward +X no edge found",
        "gib_1.left+top at the -X end",
    ):
        assert words in told


def test_the_caution_stands_where_the_hold_is_told(told: str) -> None:
    """The usual cautions of surface grinding, common practice, no source."""
    for words in ("Never trust a magnet", "tug every part", "Guard closed", "eye protection", "Local rules"):
        assert words in told


def test_a_body_that_no_way_frees_is_said_to_have_none() -> None:
    shut = replace(HOLD, leaving=tuple(replace(b, ways=()) for b in HOLD.leaving))
    text = said(apart_section(replace(staged.result(), holding=shut)))
    assert "no way off was found" in text
    assert any("1. rail: no way off was found" in line for line in hold_lines(shut, "mm"))


def test_of_many_bodies_the_terminal_gets_the_order_alone() -> None:
    many = tuple(replace(HOLD.leaving[0], body=f"gib_{i}") for i in range(7))
    lines = hold_lines(replace(HOLD, leaving=many), "mm")
    assert f"comes off in this order: {', '.join(b.body for b in many)}" in lines


def test_pull_per_area_is_pull_over_area(told: str) -> None:
    """480 N on 960 mm2 is 50 N/cm2, by hand."""
    assert "gib_1.bottom on plate.top 480 to 960 N 960 mm² 50 to 100 N/cm² 0.5 T" in told


def test_names_cannot_write_into_the_page() -> None:
    assert "<none>" not in hold_section(staged_hold.result(), {})
    assert "&lt;none&gt;" in hold_section(staged_hold.result(), {})


def test_inch_figures_agree_with_pint() -> None:
    """Pint, a general library of units, is the reference."""
    registry = pint.UnitRegistry()
    newton = registry.Quantity(100.0, "newton").to("pound_force").magnitude
    pressure = registry.Quantity(1.0, "newton / centimeter**2").to("psi").magnitude
    assert amount(100.0, "N", "inch") == f"{newton:.3g}\u202flbf"
    assert amount(1.0, "N/cm2", "inch") == f"{pressure:.3g}\u202fpsi"
    # 0.2 mm2 are 0.00031 sq in, which is not nothing; what is nothing in metric units is in inches.
    assert amount(0.2, "mm2", "inch") == "0.00031\u202fin\u00b2"
    assert amount(1e-4, "mm2", "inch") == "0\u202fin\u00b2"
    text = said(hold_section(staged_hold.result("inch"), {}))
    assert "22.5 to 45 lbf" in text
    assert " N " not in text
    assert "N/cm²" not in text


def test_three_digits_without_powers_of_ten() -> None:
    values = (2.6e-5, 0.000612, 0.012345, 1.0, 9.996, 123456.0)
    assert [digits(v) for v in values] == ["0", "0.000612", "0.0123", "1", "10", "123000"]
    assert range_words((1.0, 1.0001), "N", "mm") == "1\u202fN"


def test_a_factor_at_the_end_of_the_search_is_a_bound() -> None:
    assert bounded_factor(30.0, HOLD) == "at least 30"
    assert bounded_factor(29.9, HOLD) == "29.9"
    assert factor_words(replace(staged_hold.WEAK, factor_high=2.0), HOLD) == "1.23 to 2"
    assert factor_words(staged_hold.SAFE, HOLD) == "at least 30"


def test_the_pictures_stand_in_the_page_with_words() -> None:
    names = (HOLD_PULL, HOLD_FLUX, "hold_goes_1.png")
    result = staged_hold.result()
    text = page(result, staged.setup(), pictures={name: png("red") for name in names})
    captions = hold_captions(result.holding, "mm")
    assert set(captions) == set(names)
    alternatives = [a["alt"] for tag, a in read(text).tags if tag == "img"]
    assert sorted(alternatives) == sorted(captions.values())


def test_the_terminal_gets_the_few_lines_that_matter() -> None:
    lines = table(staged_hold.result(), width=240).splitlines()
    start = next(i for i, line in enumerate(lines) if line.strip().startswith("hold: magnet full"))
    told = [line.strip() for line in lines[start:-2]]
    assert told[1] == "not known, gib_3 in top_flat: it has no finish"
    assert told[2].startswith("gib_1 in top_flat: holds at least 30 times its load")
    assert told[3].startswith(
        "gib_2 in top_flat: holds 1.23 to at least 30 times its load; pull onto its seats 100 to 200 N"
    )
    assert "gib_2 goes first, digs into the wheel, then runs into the rail" in told[4]
    assert told[5] == "what is left: 0.8 with a film of coolant, not known without rail"
    assert told[6] == "taken to be there throughout: plate (stands on the table and is taken as bolted to it)"
    assert told[7:-1] == [
        "to take it apart: wheel clear of the work and the spindle at rest, magnet off",
        "1. rail: slide toward +X",
        "demagnetise before lifting, and again before the next seating: rail",
        "stone these edges before the next seating: gib_1.left+top at the -X end",
    ]
    assert "never trust a magnet alone" in told[-1]
    assert re.match(r"\d+ no-go", lines[-1])


def test_the_lines_of_a_hold_are_folded_to_the_width() -> None:
    lines = table(staged_hold.result(), width=60).splitlines()
    start = next(i for i, line in enumerate(lines) if "hold: magnet" in line)
    assert max(len(line) for line in lines[start:]) <= 60
