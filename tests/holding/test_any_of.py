"""Several remedies in one sentence after another."""

from fixturecheck.holding.remedy_search import any_of


def test_each_remedy_ends_before_the_next_begins():
    assert any_of(("Mill 0.3 mm deep", "Tighten screw to 18 N m.")) == (
        "Mill 0.3 mm deep. Or: Tighten screw to 18 N m."
    )
    assert any_of(()) is None
