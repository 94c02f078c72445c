"""Files of measurements and chuck files: read with every mistake told, in mm or inches, and written."""

from __future__ import annotations

import pytest

from fixturecheck.errors import SetupError
from fixturecheck.runs.calibrate import chuck_text
from fixturecheck.setup.holding import CalibratedChuck
from fixturecheck.setup.measurement import Measurement, measured_in_file
from fixturecheck.setup.text import chuck_file, read_setup_text

HEAD = """
[calibration]
name = "small chuck"

[[equipment]]
kind = "flat_magnetic_chuck"
name = "chuck"
"""
BLOCK = """
[[measurement]]
name = "block"
piece_mm = [25, 25, 25]
pull_n = 300
reading_n = 10
"""
SLIDE = """
[[measurement]]
name = "bar"
piece_in = [2, 1, 0.5]
slide_lbf = 10
friction = [0.15, 0.20]
reading_lbf = 1
"""


def reading(tmp_path, text):
    path = tmp_path / "pulls.toml"
    path.write_text(text, encoding="utf-8")
    return measured_in_file(path)


def test_a_pull_straight_off_is_less_by_the_weight_and_as_uncertain_as_the_scale():
    one = Measurement(name="block", piece_mm=(25, 25, 25), pull_n=300.0, reading_n=10.0)
    assert one.force_n(1.2) == pytest.approx((288.8, 308.8))


def test_a_slide_is_friction_times_pull_and_weight():
    """Coulomb: slide = mu (pull + weight); 95 N at 0.20 is the least, 105 N at 0.15 the greatest."""
    one = Measurement(name="bar", piece_mm=(50, 25, 12), slide_n=100.0, friction=(0.15, 0.20), reading_n=5.0)
    assert one.force_n(1.2) == pytest.approx((95 / 0.20 - 1.2, 105 / 0.15 - 1.2))


def test_inches_and_pounds_are_converted(tmp_path):
    found = reading(tmp_path, HEAD + BLOCK + SLIDE)
    bar = found.measurements[1]
    assert bar.piece_mm == pytest.approx((50.8, 25.4, 12.7))
    assert bar.slide_n == pytest.approx(44.4822)
    assert bar.reading_n == pytest.approx(4.44822)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (BLOCK + SLIDE, "lacks the key 'name'"),
        (HEAD + BLOCK, r"from 2 to 12 \[\[measurement\]\]; got 1"),
        (HEAD + BLOCK + BLOCK, "'block' is stated more than once"),
        (HEAD + BLOCK + SLIDE.replace("friction = [0.15, 0.20]", ""), "slide_n needs the friction"),
        (HEAD + BLOCK + SLIDE + "pull_n = 3\n", "pull_n .straight off. or slide_n"),
        (HEAD + BLOCK.replace("25, 25, 25", "25, 25") + SLIDE, "state three sizes"),
        (HEAD + BLOCK + SLIDE + 'material = "brass"\n', "'brass' has no B-H curve"),
        (HEAD + BLOCK + SLIDE + "shim_mm = 50\n", "from 0.001 to 20; got 50"),
        (HEAD.replace("flat_magnetic_chuck", "grinding_vise") + BLOCK + SLIDE, "is not calibrated"),
        (HEAD + BLOCK.replace("reading_n = 10", "") + SLIDE, "lacks the key 'reading_n'"),
    ],
)
def test_what_is_wrong_with_measurements_is_told(tmp_path, text, says):
    with pytest.raises(SetupError, match=says):
        reading(tmp_path, text)


CHUCK = CalibratedChuck(
    name='the "small" chuck',
    poles=11,
    pole_pitch_mm=25.0,
    pole_size_mm=(20.0, 130.0, 20.0),
    pole_material="steel_1018",
    piece_finish="ground",
    source_gap_mm=(0.21, 0.94),
    source_mmf_low_a=(180.0, 610.0),
    source_mmf_high_a=(201.0, 655.0),
    seat_gap_um=(1.5, 8.25),
)
SETUP = """
[setup]
name = "block"
[[equipment]]
kind = "flat_magnetic_chuck"
name = "chuck"
[[body]]
name = "block"
file = "block.step"
[holding]
magnet = "full"
calibrated = "chucks/small.toml"
"""


def written(folder):
    (folder / "chucks").mkdir()
    path = folder / "chucks" / "small.toml"
    readings = ({"name": "block", "measured_n": (290.0, 310.0), "fitted_n": 301.2},)
    path.write_text(chuck_text(CHUCK, ("as measured",), readings), encoding="utf-8")
    return path


def test_a_chuck_file_says_again_what_was_written(tmp_path):
    assert chuck_file(written(tmp_path)) == CHUCK


def test_a_set_up_takes_the_chuck_file_from_its_own_folder(tmp_path):
    path = written(tmp_path)
    (tmp_path / "block.toml").write_text(SETUP, encoding="utf-8")
    holding = read_setup_text(tmp_path / "block.toml", {}).rest["holding"]
    assert holding.calibrated == CHUCK
    assert holding.calibrated.path == str(path)
    assert (holding.source_gap_mm, holding.source_mmf_a) == (CHUCK.source_gap_mm, CHUCK.source_mmf_low_a)


def test_a_chuck_file_that_is_not_there_is_told_with_its_line(tmp_path):
    (tmp_path / "block.toml").write_text(SETUP, encoding="utf-8")
    with pytest.raises(SetupError, match=r"block.toml, line 12: .*small.toml cannot be read"):
        read_setup_text(tmp_path / "block.toml", {})


def test_a_chuck_file_that_runs_backwards_is_refused(tmp_path):
    path = written(tmp_path)
    path.write_text(
        path.read_text(encoding="utf-8").replace("[0.21, 0.94]", "[0.94, 0.21]"), encoding="utf-8"
    )
    with pytest.raises(SetupError, match="a least value is above its greatest"):
        chuck_file(path)
