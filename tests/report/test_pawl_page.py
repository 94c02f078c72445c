"""The page of the gang of pawls that their seats place: how large it is, and where it says they stand."""

from __future__ import annotations

import math
import re
from itertools import pairwise
from pathlib import Path

import pytest

from fixturecheck import engine
from fixturecheck.report.write import write_report
from fixturecheck.setup.load import load

MODELS = Path(__file__).parents[2] / "models"
MOST_MB = 0.8


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    out = tmp_path_factory.mktemp("pawls") / "out"
    setup = load(MODELS / "index_pawl" / "rev_a_by_seats.toml")
    write_report(engine.check(setup, only=("seat", "nest", "location")), out, pictures=False)
    return (out / "report.html").read_text(encoding="utf-8")


def test_without_its_pictures_it_is_small(page: str) -> None:
    assert len(page.encode()) <= MOST_MB * 1e6
    assert "view-data" in page


def test_it_lists_where_seats_put_each_pawl(page: str) -> None:
    """By hand: each next pawl stands its pitch of 16 mm further from the stop, all at one height."""
    listed = page.split("Where seats put what states no place")[1].split("</table>", maxsplit=1)[0]
    rows = [re.findall(r"<td[^>]*>(.*?)</td>", row) for row in listed.split("<tr>")[2:]]
    assert [row[0] for row in rows] == ["pawl_1", "pawl_2", "pawl_3", "pawl_4"]
    x, y, z = ([float(row[k].split("\u202f")[0].split()[0]) for row in rows] for k in (1, 2, 3))
    steps = [b - a for a, b in pairwise(x)]
    assert steps == pytest.approx([math.copysign(16.0, steps[0])] * 3)
    assert y == pytest.approx([y[0]] * 4)
    assert z == pytest.approx([z[0]] * 4)
