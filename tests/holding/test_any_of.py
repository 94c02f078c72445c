"""Several remedies in one sentence after another."""

from fixturecheck.result.remedy import (
    Amount,
    Remedy,
    RemedyKind,
)
from fixturecheck.units import METRIC
from fixturecheck.wording.remedies import any_of


def remedy(kind, amount, at_least=False):
    return Remedy(
        kind=kind, part="bar", factor=30.0 if at_least else 3.04, at_least=at_least, change_ratio=2.0,
        amounts=(amount,),
    )  # fmt: skip


def test_each_remedy_ends_before_the_next_begins():
    depth = remedy(RemedyKind.DEPTH, Amount(now=0.5, to=0.3, unit="mm"))
    clamp = remedy(RemedyKind.CLAMPS, Amount(name="screw", now=12.0, to=18.0, unit="N m"), at_least=True)
    assert any_of((depth, clamp), METRIC).replace("\u202f", " ") == (
        "Mill 0.30 mm deep at a time instead of 0.5: bar then holds 3.0 times the cutting load. "
        "Or: Tighten screw to 18.0 N m (stated 12): bar then holds at least 30 times the cutting load."
    )
    assert any_of((), METRIC) is None
