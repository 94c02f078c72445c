"""How a comparison is told: like changes of copies once, and the verdict of both sides."""

from __future__ import annotations

from fixturecheck.comparing.model import Comparison, FaceChange, FindingChange, SolidChange, Trend
from fixturecheck.report.comparison import alike_changes, comparison_page, comparison_text, solid_words
from fixturecheck.result.finding import Finding, Kind, Verdict
from fixturecheck.units import Writing


def nest(number: int, gap_mm: float) -> Finding:
    return Finding(
        check="nest",
        kind=Kind.OPEN if gap_mm else Kind.MEETS,
        verdict=Verdict.NO_GO if gap_mm else Verdict.GO,
        subject=f"pawl_{number}.back on pawl_{number - 1}.nest",
        about=(f"pawl_{number}.back", f"pawl_{number - 1}.nest"),
        says=f"It stands open by {gap_mm:g} mm.",
        source="drawn",
        value=gap_mm,
        unit="mm",
        limit=0.001,
    )


def held_together(*gaps: tuple[float, float]) -> Comparison:
    return Comparison(
        before="a",
        after="b",
        names=("a", "b"),
        verdict_before=Verdict.NO_GO,
        verdict_after=Verdict.GO,
        units="mm",
        findings=tuple(
            FindingChange(
                change=Trend.BETTER if after < before else Trend.WORSE,
                before=nest(n, before),
                after=nest(n, after),
            )
            for n, (before, after) in enumerate(gaps, start=2)
        ),
    )


def test_like_changes_of_copies_are_one_row_and_another_number_is_another() -> None:
    found = held_together((0.4, 0.0), (0.4, 0.0), (0.4, 0.0), (0.3, 0.0))
    assert [row.title for row in alike_changes(found)] == [
        "back of pawl_2 to pawl_4 (3 alike)",
        "pawl_5.back on pawl_4.nest",
    ]
    assert comparison_text(found, width=100).count("better: no-go to go") == 2
    page = comparison_page(found, [], {}, None)
    assert "NO-GO before" in page
    assert "GO now" in page


def test_a_change_in_digits_that_are_not_shown_says_which_way_it_goes() -> None:
    text = comparison_text(held_together((0.4, 0.400004)), width=100)
    assert "worse: no-go  nest, open  pawl_2.back on pawl_1.nest  0.4 mm to just over 0.4 mm (limit" in text


def test_faces_that_moved_alike_are_counted() -> None:
    faces = tuple(FaceChange(before=name, after=name, moved_mm=2.5) for name in ("top", "rim", "rim"))
    taller = SolidChange(
        before="block", after="block", change=Trend.SAME, before_mm3=1.0, after_mm3=2.0, faces=faces
    )
    assert solid_words(taller, Writing(units="mm")).endswith("top moved +2.5 mm; rim moved +2.5 mm (2 faces)")
