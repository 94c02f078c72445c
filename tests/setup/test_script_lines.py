"""Which line of a script a finding is led to."""

from __future__ import annotations

import cadquery as cq
import pytest

from fixturecheck import Setup, body
from fixturecheck.setup.load import load
from fixturecheck.setup.outline import origins_in_script

DRAWING = """
import cadquery as cq
import fixturecheck as fc

FACES = {"foot": ">Z", "block": "<X", "end": ">X"}

def pad(name, x):
    return fc.body(name, cq.Workplane().box(10, 20, 4), at=(x, 0, 2), faces=FACES)
"""

SCRIPT = """
import cadquery as cq
from drawing import pad
import fixturecheck as fc

wide_mm = 40.0
plate = fc.body("plate", cq.Workplane().box(wide_mm, 40, 4), at=(0, 0, -2),
                role="fixture", faces={"top": ">Z", "foot": "<Z"})
pads = [
    pad(f"pad_{side}", 10 * side)
    for side in (0, 1)
]
setup = fc.Setup(
    name="pads",
    bodies=[plate, *pads, pad("block", -10)],
    seats=[
        fc.Seat(body="block", face="end", on="pad_0", on_face="block"),
    ],
    cuts=[
        fc.Cut(floor="foot", parts=["block"], name="foot"),
        fc.Cut(floor="foot", parts=["pad_0"], name="block"),
    ],
)
"""


@pytest.fixture(scope="module")
def lines(tmp_path_factory):
    home = tmp_path_factory.mktemp("script")
    (home / "drawing.py").write_text(DRAWING)
    (home / "pads.py").write_text(SCRIPT)
    setup = load(home / "pads.py", {"wide_mm": "50"})
    assert isinstance(setup, Setup)

    def line(*key):
        origin = setup.origins.get(key)
        if origin is None or origin.line is None:
            return origin
        return origin.file, (home / origin.file).read_text().splitlines()[origin.line - 1].strip()

    return line


def test_a_thing_stands_where_it_is_made_not_where_its_name_is_first_read(lines):
    """A cut and a body of one name, which faces have too, in the script and in what it imports."""
    assert lines("cut", "foot") == ("pads.py", 'fc.Cut(floor="foot", parts=["block"], name="foot"),')
    assert lines("cut", "block") == ("pads.py", 'fc.Cut(floor="foot", parts=["pad_0"], name="block"),')
    assert lines("body", "block") == ("pads.py", 'bodies=[plate, *pads, pad("block", -10)],')
    assert lines("body", "plate") == (
        "pads.py", 'plate = fc.body("plate", cq.Workplane().box(wide_mm, 40, 4), at=(0, 0, -2),',
    )  # fmt: skip


def test_a_name_that_is_put_together_leads_to_where_it_is(lines):
    assert lines("body", "pad_1") == ("pads.py", 'pad(f"pad_{side}", 10 * side)')


def test_a_seat_has_a_line_of_its_own(lines):
    assert lines("seat", "block.end", "pad_0.block") == (
        "pads.py", 'fc.Seat(body="block", face="end", on="pad_0", on_face="block"),',
    )  # fmt: skip


def test_what_no_text_names_is_led_to_the_file(tmp_path):
    """The first file, without a line; none without a file."""
    (tmp_path / "a.py").write_text("setup = made()\n")
    one = Setup(name="one", bodies=(body("a", cq.Workplane().box(1, 1, 1)),))
    (only,) = origins_in_script(one, [("a.py", tmp_path / "a.py")]).values()
    assert (only.file, only.line) == ("a.py", None)
    assert origins_in_script(one, []) == {}
