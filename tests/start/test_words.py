"""Areas in the reasons of a proposal read as a toolmaker writes them, whatever their size."""

from __future__ import annotations

import pytest

from fixturecheck.wording.proposals import other_way_words


@pytest.mark.parametrize(("area", "reads"), [(51150.4, "51150 mm²"), (909.7, "910 mm²"), (0.25, "0.25 mm²")])
def test_an_area_is_written_without_an_exponent(area: float, reads: str) -> None:
    assert other_way_words("it lies on a round", area) == f"it lies on a round; {reads} to grind"
