"""What the report repeats of the set-up as it was stated, and what it says about working safely."""

from __future__ import annotations

from html import escape

from fixturecheck.report.quantity import shown
from fixturecheck.setup.holding import Milling
from fixturecheck.setup.model import Cut, Setup
from fixturecheck.shop.wheels import Flange, Guard, Wheel
from fixturecheck.units import Writing

AT_THE_MACHINE = """<section><h2>At the machine</h2>
<div class="machine"><ul>
<li>This page does not replace training, the machine's manual or the law where you work. Local rules and the
people trained for this machine decide.</li>
<li>Before mounting: look the wheel over and ring it. One that sounds dead, is chipped or cracked is not
used.</li>
<li>Never run a wheel faster than the speed marked on it, whatever this page says.</li>
<li>Guards on and closed, flanges and blotters in place, eye protection on.</li>
<li>Magnet on or clamps tight, then tug every part and every block by hand before the wheel turns. A part
that moves by hand will fly. Never trust a magnet alone: block in what can move.</li>
<li>Stand aside of the wheel's plane when it starts, and let it run up before it touches anything.</li>
<li>Check the table stops and the whole travel with the wheel raised and not turning.</li>
<li>Coolant off and wheel stopped before measuring, cleaning or taking parts off.</li>
</ul></div></section>"""


AT_THE_MILL = """<section><h2>At the machine</h2>
<div class="machine"><ul>
<li>This page does not replace training, the machine's manual or the law where you work. Local rules and the
people trained for this machine decide.</li>
<li>Clamps and vise tight, then tug every part and every block by hand before the cutter turns. A part that
moves by hand will fly or be drawn into the cutter. Take the handle off the vise and the wrench off the
machine.</li>
<li>Look the cutter over and see that its holder grips it: its flutes pull it out of a holder that does not,
and deeper into the part.</li>
<li>Climb milling draws the part and the table into the cutter: only where the feed has no play and the ways
that are not fed are locked.</li>
<li>Guard or shield in place, eye protection on, no gloves, rings, loose sleeves or hair near a turning
cutter, and no hands.</li>
<li>Try the whole travel with the cutter raised and not turning: jaws, stops and clamps must stand clear of
cutter and holder.</li>
<li>Spindle stopped before measuring, brushing off chips or taking parts off; chips never by hand.</li>
</ul></div></section>"""


def at_the_machine(setup: Setup) -> str:
    """Return what is said about working safely with what cuts the parts."""
    mills = bool(setup.holding and setup.holding.milling)
    return "\n".join([AT_THE_MACHINE] * (not only_mills(setup)) + [AT_THE_MILL] * mills)


def only_mills(setup: Setup) -> bool:
    """Say whether parts are milled and none is ground."""
    return bool(setup.holding and setup.holding.milling) and not setup.cuts


def setup_section(setup: Setup) -> str:
    """Return the section that lists wheel, machine, cuts and bodies as stated."""
    milling = setup.holding.milling if setup.holding else ()
    rows = [] if only_mills(setup) else [*_wheel_rows(setup), *_machine_rows(setup)]
    rows += [(f"mill {mill.name}", _mill(mill, setup.units)) for mill in milling]
    listed = "\n".join(f"<tr><td>{escape(name)}</td><td>{escape(text)}</td></tr>" for name, text in rows)
    cuts = "\n".join(
        f"<tr><td>cut {escape(cut.name)}</td><td>{escape(_cut(cut, setup.units))}</td></tr>"
        for cut in setup.cuts
    )
    seats = "\n".join(
        f"<tr><td>{escape(s.rank)} seat</td>"
        f"<td>{escape(f'{s.body}.{s.face} on {s.on}.{s.on_face}')}</td></tr>"
        for s in setup.seats
    )
    return (
        "<section><h2>The set-up as stated</h2>\n"
        f'<div class="wide"><table><tbody>\n{listed}\n{cuts}\n{seats}\n</tbody></table></div>\n'
        f"{_bodies(setup)}</section>"
    )


def _wheel_rows(setup: Setup) -> list[tuple[str, str]]:
    wheel, units = setup.wheel, setup.units
    marked = wheel.max_speed_m_s
    speed = "not stated; see the limits check" if marked is None else shown(marked, "m/s", units)
    return [("wheel", _wheel(wheel, units)), ("marked speed", speed)]


def _wheel(wheel: Wheel, units: str) -> str:
    sizes = (wheel.diameter_mm, wheel.thickness_mm, wheel.bore_mm)
    text = " \u00d7 ".join(shown(size, "mm", units) for size in sizes)
    return f"ISO 525 type {wheel.shape}, {text}, corner radius {shown(wheel.corner_radius_mm, 'mm', units)}"


def _machine_rows(setup: Setup) -> list[tuple[str, str]]:
    machine, units = setup.machine, setup.units
    travels = f"X {shown(machine.travel_x_mm, 'mm', units)}, Y {shown(machine.travel_y_mm, 'mm', units)}"
    return [
        ("spindle", f"{machine.rpm:g} rev/min, sparks fly to the {machine.sparks}"),
        ("travels", travels),
        ("flange", _flange(machine.flange, units)),
        ("guard", _guard(machine.guard, units)),
    ]


def _flange(flange: Flange, units: str) -> str:
    return f"{shown(flange.diameter_mm, 'mm', units)} across, {shown(flange.thickness_mm, 'mm', units)} thick"


def _guard(guard: Guard | None, units: str) -> str:
    if guard is None:
        return "NONE STATED"
    gap = shown(guard.radial_gap_mm, "mm", units)
    return f"open over {shown(guard.opening_deg, 'deg')}, {gap} from the wheel"


def _cut(cut: Cut, units: str) -> str:
    faces = cut.floor if cut.wall is None else f"{cut.floor} and {cut.wall}"
    stock = shown(cut.stock_mm, "mm", units)
    fed = f", {shown(cut.wall_feed_mm, 'mm', units)} a pass" if cut.wall_feed_mm else ""
    wall = f" ({shown(cut.wall_stock_mm, 'mm', units)} on the wall{fed})" if cut.wall else ""
    pass_depth = shown(cut.downfeed_mm, "mm", units)
    speed = Writing(units=units).table_speed(cut.table_speed_m_min)
    return (
        f"{faces} of {', '.join(cut.parts)}; {cut.way}, stock {stock}{wall}, {pass_depth} a pass, "
        f"table {speed}, overtravel {shown(cut.overtravel_mm, 'mm', units)}"
    )


def _mill(mill: Milling, units: str) -> str:
    sizes = (("deep", mill.deep_mm), ("wide", mill.wide_mm), ("a tooth", mill.feed_mm_tooth))
    listed = ", ".join(f"{shown(size, 'mm', units)} {name}" for name, size in sizes)
    way = "climb, conventional or centred" if mill.way == "any" else mill.way
    flutes = "flutes not stated" if mill.helix_deg is None else f"flutes at {shown(mill.helix_deg, 'deg')}"
    return (
        f"{mill.face} of {', '.join(mill.parts)}; {way}, cutter {shown(mill.cutter_mm, 'mm', units)} across "
        f"with {mill.teeth} teeth, {flutes}, turning clockwise seen from above; {listed}"
    )


def _bodies(setup: Setup) -> str:
    rows = "\n".join(
        f"<tr><td>{escape(b.name)}</td><td>{escape(b.role)}</td><td>{escape(b.material)}</td></tr>"
        for b in setup.bodies
    )
    return (
        '<div class="wide" style="margin-top:10px"><table><thead><tr><th>body</th><th>role</th>'
        f"<th>material</th></tr></thead><tbody>\n{rows}\n</tbody></table></div>"
    )
