"""A proposed set-up in words: why each piece is there and of its size, why a part stands as it does.

None of these texts ends in a full stop.
"""

from __future__ import annotations

_WHOLE_MM2 = 100.0
"""An area is written in whole square millimetres from here on."""


def row_holder_words(length_mm: float, width_mm: float) -> str:
    """Say why a chuck has its size.

    Parameters
    ----------
    length_mm, width_mm : float
        Size of the chuck.
    """
    return f"{length_mm:g} x {width_mm:g} mm is the smallest of the usual sizes that takes the row"


def vee_words(part: str) -> str:
    """Say why a V-block has its size.

    Parameters
    ----------
    part : str
        Its name.
    """
    return f"the smallest of the usual sizes that takes the row; its lands lie below the floor of {part}"


def vise_words(part: str) -> str:
    """Say why a vise has its size.

    Parameters
    ----------
    part : str
        Its name.
    """
    return f"the smallest of the usual sizes that takes {part}; the moving jaw is drawn where it grips"


def parallel_words(jaw_mm: float) -> str:
    """Say what a parallel is for.

    Parameters
    ----------
    jaw_mm : float
        Height of the jaws.
    """
    return f"raises the part, so that its top stands out of jaws {jaw_mm:g} mm tall"


def block_words(height_mm: float, *, at_the_end: bool) -> str:
    """Say what a block beside a row is for, at the end that the wheel pushes to or the other.

    Parameters
    ----------
    height_mm : float
        Height of the block.
    at_the_end : bool
        True at the end that the wheel pushes to.
    """
    takes = "takes the push of the wheel" if at_the_end else "keeps the row from going back"
    return f"{takes}; {height_mm:g} mm tall, below the floor that the wheel runs over"


def vee_stop_words() -> str:
    """Say what a stop on a land of a V-block is for, and why it stands there."""
    return "takes the push of the wheel; it stands on one land, since over both it would short the poles"


def vise_stop_words(part: str) -> str:
    """Say what a stop between the jaws of a vise is for.

    Parameters
    ----------
    part : str
        Its name.
    """
    return f"takes the push of the wheel at the end of {part}, below the floor that it runs over"


NO_STOP_ON_LAND = "nothing that stands on a land would touch the end of the part: add one"
NO_STOP_IN_VISE = "none fits between the jaws at the end of the part: add one"


def jaws_words(out_mm: float, held_mm: float) -> str:
    """Say how far a floor stands above the jaws, and how much of the part is between them.

    Parameters
    ----------
    out_mm : float
        Height of the floor above the jaws.
    held_mm : float
        Height of the part between the jaws.
    """
    return f"the floor then stands {out_mm:.3g} mm out of the jaws, which hold {held_mm:.3g} mm"


def nested_words(count: int, pitch_mm: float) -> str:
    """Say how far apart nested parts stand.

    Parameters
    ----------
    count : int
        How many parts.
    pitch_mm : float
        Distance from one part to the next.
    """
    return f"{count} parts nested, {pitch_mm:.6g} mm apart"


def nest_words(early_mm: float, row_mm: float | None = None) -> str:
    """Say why neighbours stand at a pitch.

    Parameters
    ----------
    early_mm : float
        By how much neighbours overlap along the row where their ends lie on each other; zero for none.
    row_mm : float or None
        Length of the row, where it is said.
    """
    why = (
        "flat ends lie on each other there, but something lands first: neighbours overlap by up to "
        f"{early_mm:.2g} mm along the row"
        if early_mm
        else "the closest pitch at which flat ends lie on each other and nothing overlaps"
    )
    return why if row_mm is None else f"{why}; the row is {row_mm:.4g} mm long"


def spaced_words(count: int) -> str:
    """Say that parts of a row do not lie on each other.

    Parameters
    ----------
    count : int
        How many parts are in the row.
    """
    return f"{count} parts with a block between each two"


def no_nest_words(untried: int) -> str:
    """Say why parts of a row do not nest, or how many pitches were not tried.

    Parameters
    ----------
    untried : int
        How many pitches were not tried; 0 where all were.
    """
    if untried:
        return f"no nest was found; {untried} wider ones were not tried"
    return "no two flat ends of neighbours would lie on each other"


def on_two_planes_words(bears_mm2: float) -> str:
    """Say what bears where two planes lie in a trough.

    Parameters
    ----------
    bears_mm2 : float
        Area that bears.
    """
    return f"two planes at the angle of the trough bear, {_area(bears_mm2)} together"


ON_A_RIM = "it stands on a rim or on corners, since nothing flat is below"


def on_a_round_words(radius_mm: float) -> str:
    """Say what bears where a round lies in a trough.

    Parameters
    ----------
    radius_mm : float
        Radius of the round; its diameter is told.
    """
    return f"a round of {2 * radius_mm:.4g} mm bears on both flanks along lines"


def in_jaws_words(bears_mm2: float) -> str:
    """Say what bears where jaws hold a part.

    Parameters
    ----------
    bears_mm2 : float
        Area that bears.
    """
    return f"{_area(bears_mm2)} lie on a parallel or on the bed, and the jaws hold it there"


def on_a_plane_words(bears_mm2: float, margin_mm: float, height_mm: float) -> str:
    """Say what bears where a part stands by its weight, and how steadily.

    Parameters
    ----------
    bears_mm2 : float
        Area that bears.
    margin_mm : float
        How far inside the border of what bears the weight lies.
    height_mm : float
        How high it lies.
    """
    return (
        f"{_area(bears_mm2)} bear; the weight lies {margin_mm:.3g} mm inside their border, "
        f"{height_mm:.3g} mm up"
    )


def floor_words(area_mm2: float, shut_in_mm: float | None, *, wall: bool) -> str:
    """Say what is ground, and what stands beside it.

    Parameters
    ----------
    area_mm2 : float
        Of the floor.
    shut_in_mm : float or None
        How far the part stands up over it in the way of the wheel; None where nothing is in the way.
    wall : bool
        Whether it lies beside a wall.
    """
    beside = ", beside a wall" if wall else ", nothing of the part stands higher"
    if shut_in_mm is not None:
        beside = f", but the part stands up to {shut_in_mm:.4g} mm over it, in the way of the wheel"
    return f"{_area(area_mm2)}, level{beside}"


def other_way_words(standing: str, area_mm2: float) -> str:
    """Say how else a part could stand, and how much of it could then be ground.

    Parameters
    ----------
    standing : str
        How the part would stand, as words.
    area_mm2 : float
        Area that could be ground.
    """
    return f"{standing}; {_area(area_mm2)} to grind"


def part_found_words(beside: int, *, copies: bool) -> str:
    """Say why a body of an assembly is taken for the part.

    Parameters
    ----------
    beside : int
        How many other bodies it touches.
    copies : bool
        Whether others like it are parts too.
    """
    why = f"stands, carries nothing, and touches {beside} others, the most"
    return f"{why}; and its copies" if copies else why


LEFT_OUT = "a check drew them into the file"

NOT_TOUCHING = "they do not touch there"


def _area(area_mm2: float) -> str:
    return f"{area_mm2:.0f} mm²" if area_mm2 >= _WHOLE_MM2 else f"{area_mm2:.3g} mm²"
