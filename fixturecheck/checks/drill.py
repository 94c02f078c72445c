"""Can each hole be drilled and tapped: does the drill start square, go deep enough, and clear everything.

What: whether the hole stands upright under the spindle; how steep the face is that the drill starts on, and
the seat or spot that it needs; drill against hole, share of the thread, depth below it for tap and chips;
flutes and diameter against depth; drill, spot drill and tap, each with chuck and spindle nose, against all
that stands there over the whole stroke, and where straps and toes press, which may lie any way; daylight.
Why: a drill that starts on a slope walks off and breaks; a tap that meets the bottom breaks in the hole; a
chuck comes down on a jaw.
Formulas: a point is (d/2) / tan(a/2) long; a seat of width w on a slope s goes w tan(s) deep; share of the
thread (D - d) / (1.299 P); hole below a thread (lead + 1) P.
Limits: 3 degrees of slope without a spot, 6 with one, a seat beyond; 60 to 80 % of the thread, a caution to
50 and 90; flutes a diameter longer than the hole; ten diameters of depth, a caution beyond; least clearance
of the machine: common practice, no source.
Go: a 5 mm hole on a flat, spotted at 120 degrees. No-go: the same hole on a slope of 15 degrees without a
seat.
"""

from __future__ import annotations

from collections.abc import Iterator

from fixturecheck.checks.stage import Stage, under_spindle
from fixturecheck.drilling import (
    depth_for_thread_mm,
    seat_depth_mm,
    spot_depth_mm,
    tap_drill_mm,
    thread_of,
    thread_share,
)
from fixturecheck.errors import KernelError, NotComputedError
from fixturecheck.faceref import FaceRef
from fixturecheck.kernel.boolean import apart
from fixturecheck.machining.clearance import undrawn
from fixturecheck.machining.drilled import DrilledHole, below_hole, hole_of, tip_depth_mm, tool_solids
from fixturecheck.numeric import to_vector
from fixturecheck.result.finding import Finding, FindingText, Kind, Verdict, judge, not_computed
from fixturecheck.result.shapes import NamedShape, Role
from fixturecheck.setup.tools import Drilling
from fixturecheck.units import Writing, angle_text, percent

TITLE = "Drilled and tapped holes"

UPRIGHT_DEG = 0.1
STARTS_DEG = 3.0
SPOTTED_DEG = 6.0
SHARES = (0.60, 0.80)
MOST_SHARES = (0.50, 0.90)
USUAL_SHARE = 0.70
TAP_LEADS = {"plug": 4.0, "bottoming": 2.0}
"""Threads that the chamfer of a tap takes, of those with a shorter one: common practice, no source."""
LEAST_THREAD = 0.8
"""Diameters of full thread that hold a screw in steel: common practice, no source."""
MOST_DIAMETERS = 10.0
"""Depth of a hole that a twist drill makes straight, in its diameters: common practice, no source."""
SAME_MM = 0.01
_IN_HOLE = frozenset({"drill", "spot drill", "tap"})
"""Tools that go into the hole, where they meet their own part."""
_TRADE = "common practice, no source"
_THREAD = "Machinery's Handbook, from memory; limits: common practice, no source"


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the findings of each hole of each part."""
    for drill in stage.setup.drills:
        for part in drill.parts:
            ref = FaceRef.of(part, drill.hole)
            try:
                hole = hole_of(stage.setup.body(part), drill)
            except NotComputedError as reason:
                yield not_computed(f"{drill.name}/{ref}", reason, about=(ref,), cut=drill.name)
                continue
            yield from _Hole(stage, drill, ref, hole).findings()


class _Hole:
    """One hole of one part, asked one question after another."""

    def __init__(self, stage: Stage, drill: Drilling, ref: FaceRef, hole: DrilledHole) -> None:
        self._stage, self._drill, self._ref, self._hole = stage, drill, ref, hole
        self._write: Writing = stage.setup.write
        self._drill_mm = hole.diameter_mm if drill.drill_mm is None else drill.drill_mm

    def findings(self) -> Iterator[Finding]:
        """Yield every answer."""
        yield self._upright()
        if not self._drill.drilled:
            yield self._start()
        if self._drill.spot_deg is not None:
            yield self._spot(self._drill.spot_deg)
        yield self._size()
        if self._drill.thread is not None:
            yield from self._thread(self._drill.thread)
        if not self._drill.drilled:
            yield self._flutes()
            yield self._deep()
        if self._hole.tilt_deg <= UPRIGHT_DEG:
            yield from self._room()
        if self._drill.daylight_mm is not None:
            yield self._daylight(self._drill.daylight_mm)

    def _text(self, kind: Kind, says: str, remedy: str | None, source: str = _TRADE) -> FindingText:
        return {
            "kind": kind,
            "about": (self._ref,),
            "cut": self._drill.name,
            "says": says,
            "remedy": remedy,
            "source": source,
            "location_mm": to_vector(self._hole.start),
            "direction": to_vector(self._hole.axis),
        }

    def _upright(self) -> Finding:
        tilt = self._hole.tilt_deg
        says = f"{self._ref} stands {angle_text(tilt)} from upright"
        remedy = f"Tip the part by {angle_text(tilt)}, on an angle block or a sine plate."
        return judge(
            tilt,
            unit="deg",
            at_most=UPRIGHT_DEG,
            **self._text(Kind.HOLE_UPRIGHT, f"{says} under the spindle.", remedy),
        )

    def _start(self) -> Finding:
        """Judge the slope that the drill starts on."""
        # What rounding leaves of a level face is no slope.
        slope, seat, write = round(self._hole.slope_deg, 6), self._drill.seat_mm, self._write
        spotted = self._drill.spot_deg is not None
        wide = write.length(self._drill_mm, "g")
        if seat is not None:
            deep = write.length(seat_depth_mm(seat, slope), ".2f", "up")
            says = f"{self._ref} starts on a seat of {write.length(seat, 'g')} on a slope of "
            says += f"{angle_text(slope)}, cut {deep} below its high side; the drill of {wide} needs one as "
            says += "wide as itself."
            return judge(
                seat,
                unit="mm",
                at_least=self._drill_mm,
                rounding=1e-9,
                **self._text(Kind.DRILL_START, says, f"Make the seat at least {wide} wide."),
            )
        most = SPOTTED_DEG if spotted else STARTS_DEG
        deep = write.length(seat_depth_mm(self._drill_mm, slope), ".2f", "up")
        how = "spotted" if spotted else "without a spot"
        says = f"{self._ref} starts on a slope of {angle_text(slope)}, {how}; a drill "
        says += f"starts true up to {angle_text(most)}."
        remedy = f"Make a flat seat first, at least {wide} wide, with an end mill {deep} below its high side"
        remedy += (
            ", and state seat_mm." if spotted or slope > SPOTTED_DEG else ", or spot it, and state which."
        )
        return judge(slope, unit="deg", at_most=most, **self._text(Kind.DRILL_START, says, remedy))

    def _spot(self, spot_deg: float) -> Finding:
        """Say how deep to spot, and whether the point of the drill meets the spot with its tip."""
        deep = self._write.length(spot_depth_mm(self._drill_mm, spot_deg), ".2f")
        says = f"Spot {self._ref} {deep} deep for a spot as wide as the drill; the spot drill has "
        says += f"{spot_deg:g}°, the drill {self._drill.point_deg:g}°"
        good = spot_deg >= self._drill.point_deg
        says += "." if good else ", so that its corners meet the spot first and chip or chatter."
        return judge(
            spot_deg,
            unit="deg",
            at_least=self._drill.point_deg,
            short=Verdict.CAUTION,
            **self._text(Kind.SPOT, says, f"Spot with {self._drill.point_deg:g}° or more."),
        )

    def _size(self) -> Finding:
        """Hold the drill against the hole as drawn, or against the bore that its thread needs."""
        write, hole_mm = self._write, self._hole.diameter_mm
        drill, drawn = (write.length(v, "g") for v in (self._drill_mm, hole_mm))
        if self._drill.thread is not None:
            major, _ = thread_of(self._drill.thread)
            # A thread is drawn at its bore or at its nominal diameter.
            off_mm = min(abs(self._drill_mm - hole_mm), abs(major - hole_mm))
        else:
            off_mm = abs(self._drill_mm - hole_mm)
        says = f"{self._ref} is drawn at {drawn}; the drill has {drill}."
        return judge(
            off_mm,
            unit="mm",
            at_most=SAME_MM,
            **self._text(Kind.DRILL_SIZE, says, f"Take a drill of {drawn}."),
        )

    def _thread(self, name: str) -> Iterator[Finding]:
        """Hold the share of the thread and the depth below it against what a tap needs."""
        write, (major, pitch) = self._write, thread_of(name)
        share = thread_share(major, pitch, self._drill_mm)
        usual = write.length(tap_drill_mm(major, pitch, USUAL_SHARE), ".2f")
        bad = not MOST_SHARES[0] <= share <= MOST_SHARES[1]
        verdict = Verdict.NO_GO if bad else Verdict.GO if SHARES[0] <= share <= SHARES[1] else Verdict.CAUTION
        nearest = min((*SHARES, *MOST_SHARES), key=lambda limit: abs(limit - share))
        says = f"A drill of {write.length(self._drill_mm, 'g')} leaves {percent(share, nearest)} of a full "
        says += f"{name} thread, where {percent(SHARES[0])} to {percent(SHARES[1])} are usual."
        yield judge(
            share,
            unit="share",
            verdict=verdict,
            **self._text(
                Kind.THREAD_SHARE,
                says,
                f"Take a drill of about {usual}, for {percent(USUAL_SHARE)}.",
                _THREAD,
            ),
        )
        if self._hole.through and self._drill.thread_mm is None:
            return
        if self._drill.thread_mm is None:
            says = f"How deep the {name} thread goes in {self._ref}, closed below, is not known: state "
            says += "thread_mm."
            yield not_computed(
                f"{self._drill.name}/{self._ref}", says, about=(self._ref,), cut=self._drill.name
            )
            return
        needed = depth_for_thread_mm(self._drill.thread_mm, pitch, self._drill.lead_pitches)
        has = float("inf") if self._hole.through else self._hole.long_mm + self._hole.rim_low_mm
        if self._hole.through:
            needed, has = self._drill.thread_mm, self._hole.long_mm
        less = self._drill.thread_mm - (needed - has)
        lead = self._drill.lead_pitches - (needed - has) / pitch
        says = f"{self._ref} is {write.length(has)} deep at its full diameter; "
        says += f"{write.length(self._drill.thread_mm, 'g')} "
        says += (
            f"of full thread {'' if self._hole.through else 'with the lead of the tap and room for chips '}"
        )
        says += f"needs {write.length(needed)}."
        taps = [kind for kind, threads in TAP_LEADS.items() if threads <= lead and not self._hole.through]
        deeper = f"Drill {write.length(needed - has, '.2f', 'up')} deeper, "
        deeper += f"take a {taps[0]} tap, whose lead is {TAP_LEADS[taps[0]]:g} threads, " if taps else ""
        # What is left must still hold a screw.
        holds = less >= LEAST_THREAD * major
        deeper += (
            f"or thread {write.length(less, '.2f', 'down')} deep only."
            if holds
            else "or take a thinner thread: what the hole has room for would not hold its screw."
        )
        yield judge(
            has,
            unit="mm",
            at_least=needed,
            rounding=1e-6,
            **self._text(Kind.THREAD_DEPTH, says, deeper),
        )

    def _deep(self) -> Finding:
        """Hold the depth of the hole against its diameter: chips of a deep one jam, and it runs off."""
        write, hole_mm, drill_mm = self._write, self._hole.long_mm, self._drill_mm
        times = hole_mm / drill_mm
        says = f"{self._ref} is {times:.1f} times as deep as its drill is thick"
        deep = times > MOST_DIAMETERS
        says += ": the chips jam in it, and it runs off its line." if deep else "."
        return judge(
            times,
            unit="x diameter",
            at_most=MOST_DIAMETERS,
            short=Verdict.CAUTION,
            **self._text(
                Kind.DEEP_HOLE,
                says,
                f"Begin with a short drill, then clear the chips every {write.length(drill_mm, 'g')}; drill "
                "from both sides, or wider over part of the depth, where the part allows that.",
            ),
        )

    def _flutes(self) -> Finding:
        """Hold the flutes against the depth below the highest point of the rim, with room for chips."""
        write, drill = self._write, self._drill
        depth_mm = tip_depth_mm(drill, self._hole, self._drill_mm) + self._hole.rim_high_mm
        needed_mm = depth_mm + self._drill_mm
        says = f"The drill goes {write.length(depth_mm)} into {self._ref}; its flutes are "
        says += (
            f"{write.length(drill.flute_mm, 'g')} long, and one diameter of them must stay out for the chips."
        )
        return judge(
            drill.flute_mm,
            unit="mm",
            at_least=needed_mm,
            **self._text(
                Kind.FLUTES,
                says,
                f"Take a drill with flutes of at least {write.length(needed_mm, '.1f', 'up')}.",
            ),
        )

    def _room(self) -> Iterator[Finding]:
        """Hold drill, nut and nose against what stands there, each over the whole stroke down."""
        least_mm, part = self._stage.setup.machine.least_clearance_mm, self._ref.body
        spaces = [undrawn(clamp) for clamp in self._stage.setup.clamps]
        tips = {space.clamp: space.least for space in spaces if space is not None}
        below = below_hole(self._drill, self._hole, self._drill_mm)
        for tool, solid in tool_solids(self._drill, self._hole, self._drill_mm).items():
            # What cuts meets its own part in the hole alone.
            drawn = {n: s for n, s in self._stage.placed.items() if tool not in _IN_HOLE or n != part}
            met = [(solid, name, other) for name, other in (*drawn.items(), *tips.items())]
            if tool in below:
                met.append((below[tool], part, self._stage.placed[part]))
            nearest: tuple[float, str] | None = None
            for own, name, other in met:
                try:
                    how = apart(
                        own, other, f"the {tool} of {self._drill.name} and {name}", within_mm=least_mm
                    )
                except (NotComputedError, KernelError) as reason:
                    yield not_computed(
                        f"{self._drill.name}/{name}", reason, about=(self._ref,), cut=self._drill.name
                    )
                    continue
                # Beside the rim that it comes out of a tool is near its part.
                if how is None or (own is not solid and how.common is None):
                    continue
                if nearest is None or how.distance_mm < nearest[0]:
                    nearest = how.distance_mm, name
            yield self._clears(tool, solid, nearest, least_mm)

    def _clears(
        self, tool: str, solid: object, nearest: tuple[float, str] | None, least_mm: float
    ) -> Finding:
        write = self._write
        outcomes = {
            "drill": (
                Kind.DRILL_CLEAR,
                "Stop it above, or move what lies below aside: a gap between two parallels.",
            ),
            "nut": (Kind.NUT_CLEAR, "Let the drill stand out further, or take a smaller nut or chuck."),
            "nose": (
                Kind.NOSE_CLEAR,
                "Take a longer holder, or set the part further from what stands there.",
            ),
            "spot drill": (
                Kind.SPOT_CLEAR,
                "Take a thinner spot drill, or move what stands beside the hole.",
            ),
            "nut of the spot drill": (Kind.SPOT_NUT_CLEAR, "Let the spot drill stand out further."),
            "nose of the spot drill": (Kind.SPOT_NOSE_CLEAR, "Take a longer holder for the spot drill."),
            "tap": (
                Kind.TAP_CLEAR,
                "Let it run out into a gap between two parallels, thread less deep, or take a tap with a "
                "shorter lead.",
            ),
            "nut of the tap": (Kind.TAP_NUT_CLEAR, "Let the tap stand out further, or tap it by hand."),
            "nose of the tap": (Kind.TAP_NOSE_CLEAR, "Take a longer holder for the tap, or tap it by hand."),
        }
        kind, remedy = outcomes[tool]
        if nearest is None:
            says = f"The {tool} clears everything by {write.length(least_mm, 'g')} or more on its way into "
            says += f"{self._ref}."
            return judge(None, verdict=Verdict.GO, **self._text(kind, says, None))
        distance_mm, name = nearest
        hits = distance_mm <= 0.0
        says = f"The {tool} {'runs into' if hits else 'comes near'} {name} "
        inside = tool in _IN_HOLE and name == self._ref.body
        says += f"below {self._ref}" if inside else f"on its way into {self._ref}"
        says += "." if hits else f": {write.length(distance_mm)}."
        finding = self._text(kind, says, remedy)
        finding["shapes"] = (
            NamedShape(
                name=f"{tool} {self._drill.name} {self._ref}",
                role=Role.CUTTER,
                geometry=solid,
                bodies=(self._ref.body,),
            ),
        )
        return judge(
            distance_mm,
            unit="mm",
            at_least=least_mm,
            rounding=1e-6,
            short=Verdict.NO_GO if hits else Verdict.CAUTION,
            **finding,
        )

    def _daylight(self, daylight_mm: float) -> Finding:
        """Hold the tool over the highest thing under it against the room below the raised spindle."""
        tool_mm = self._drill.longest_out_mm + self._drill.nut_long_mm
        needed_mm, says = under_spindle(self._stage, "the tool is", tool_mm, daylight_mm)
        text = self._text(Kind.TOOL_DAYLIGHT, says, "Take a shorter drill or holder, or set the work lower.")
        return judge(needed_mm, unit="mm", at_most=daylight_mm, **text)
