"""A block on a table, with walls round it: what tests of coming off share."""

from fixturecheck import body
from fixturecheck.kernel.construct import box

L, W, H = 60.0, 40.0, 15.0


def part(
    name="block", low=(-L / 2, -W / 2, 0), high=(L / 2, W / 2, H), *, solid=None, finish="ground", **given
):
    return body(name, solid or box(low, high), material="steel_1018", finish=finish, **given)


def fixture(name, low, high, finish="ground"):
    return body(name, box(low, high), role="fixture", material="steel_1018", finish=finish)


def table(finish="ground"):
    return fixture("table", (-200, -200, -20), (200, 200, 0), finish)


def walls(gap, height, *, sides="LRFB"):
    x, y = L / 2 + gap, W / 2 + gap
    made = {
        "L": ((-x - 20, -100, 0), (-x, 100, height)),
        "R": ((x, -100, 0), (x + 20, 100, height)),
        "F": ((-x, -100, 0), (x, -y, height)),
        "B": ((-x, y, 0), (x, 100, height)),
    }
    return tuple(fixture(f"wall_{s}", *made[s]) for s in sides)
