"""What the report says about working safely."""

from __future__ import annotations

from fixturecheck.setup.model import Setup

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
