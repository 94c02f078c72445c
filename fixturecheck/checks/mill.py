"""Does each end mill fit what it makes: corners, floor, depth, ridges, overhang, daylight.

What: the cutter's radius against the smallest inside corner between the walls that it goes along; the radius
of its own corner against the one drawn at the floor; the ridges between the rounds of a pocket; flutes
against the depth below the stock; how much of a face lies under the part itself; tool and work against the
daylight. What it leaves and gouges, `reach` answers from the solids; what it and its holder run into,
`clear`.
Why: an end mill leaves its own radius in every inside corner; a shank rubs where the depth is more than the
flutes are long; no end mill comes down to a floor under a lip.
Formulas: (1 - pi/4) r^2 stays in a square corner, (sqrt 2 - 1) r off its edge; a ridge is
r - sqrt(r^2 - (s - f)^2 / 4) high for a corner radius r, a flat f and a step s.
Limits: a corner drawn with a radius needs a cutter no larger; one drawn square keeps the cutter's radius, a
caution unless half the profile tolerance of the faces takes it up; ridges within half that tolerance, a
caution beyond where none is stated (ISO 1101 [@iso1101]); the least clearance of the machine for the
daylight.
Go: a pocket with corners R 5 and a cutter of 8 mm. No-go: the same with corners R 3, or flutes shorter than
it is deep.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from fixturecheck.checks.stage import Stage, under_spindle
from fixturecheck.faceref import FaceRef
from fixturecheck.machining.as_milled import MilledCut, floor_fillet_mm
from fixturecheck.machining.cut import PartGround
from fixturecheck.machining.cutter_sweep import ridge_mm, ridge_of_rounds_mm
from fixturecheck.machining.end_mill import TightCorner, comes_down, inside_corners, under_itself_mm2
from fixturecheck.result.finding import Finding, FindingText, Kind, Verdict, judge
from fixturecheck.result.shapes import Vector
from fixturecheck.units import angle_text

TITLE = "End mills and what they make"

_SAME_MM = 1e-6
_ZONE = "half the profile tolerance of the faces (ISO 1101)"
_GEOMETRY = "geometry of the solids"
_SQUARE_RAD = math.radians(0.5)
_LEAST_MM2 = 0.01
_FROM_THE_SIDE = "Come in from the side, with a slot cutter on a thinner neck, or turn the part."


def check(stage: Stage) -> Iterator[Finding]:
    """Yield the findings of each run over each part."""
    for cut in stage.milled:
        for part in cut.parts:
            yield from _Run(stage, cut, part).findings()


class _Run:
    """One run over one part, asked one question after another."""

    def __init__(self, stage: Stage, cut: MilledCut, part: PartGround) -> None:
        self._stage, self._cut, self._part = stage, cut, part
        self._run, self._write, self._body = cut.run, stage.setup.write, cut.bodies[part.body]
        zones = [z for face in cut.run.makes if (z := self._body.zone_mm(face)) is not None]
        self._zone_mm = 0.5 * min(zones) if zones else None

    def findings(self) -> Iterator[Finding]:
        """Yield every answer."""
        yield from self._inside()
        yield from self._floor()
        yield from self._scallop()
        yield self._flutes()
        yield from self._lead()
        yield from self._overhang()
        if self._run.daylight_mm is not None:
            yield self._daylight(self._run.daylight_mm)

    def _text(
        self,
        kind: Kind,
        says: str,
        remedy: str | None,
        source: str = _GEOMETRY,
        *,
        at_mm: Vector | None = None,
        ref: str = "",
    ) -> FindingText:
        about = ref or self._part.body
        return {
            "kind": kind,
            "about": (about,),
            "location_mm": at_mm,
            "cut": self._cut.name,
            "says": says,
            "remedy": remedy,
            "source": source,
        }

    def _inside(self) -> Iterator[Finding]:
        """Hold the radius of the cutter against the smallest inside corner beside its path."""
        corners = inside_corners(self._cut.walls[self._part.body], self._cut.passes[self._part.body])
        if not corners:
            return
        tight = min(corners, key=lambda c: (c.radius_mm, c.keep_mm))
        radius_mm = tight.keep_mm
        write, where = self._write, f"{self._part.body} in {self._cut.name}"
        cutter, drawn = write.length(radius_mm), write.length(tight.radius_mm)
        at = (*tight.at_mm, self._cut.lowest_mm(self._part.body))
        limit_mm, verdict, remedy, source = tight.radius_mm, Verdict.GO, None, _GEOMETRY
        if radius_mm <= tight.radius_mm + _SAME_MM:
            says = f"The smallest inside corner of {where} is drawn R {drawn}, and the cutter has R {cutter}."
        elif tight.radius_mm > 0.0:
            verdict = Verdict.NO_GO
            says = f"An inside corner of {where} is drawn R {drawn} but comes out at the cutter's R {cutter}."
            remedy = (
                f"Take a cutter of at most {write.length(2 * tight.radius_mm, 'g', 'down')} for the corners."
            )
        else:
            says, verdict, remedy, limit_mm, source = self._square(tight, where)
        yield judge(
            radius_mm,
            unit="mm",
            at_most=limit_mm,
            verdict=verdict,
            **self._text(Kind.INSIDE_RADIUS, says, remedy, source, at_mm=at),
        )

    def _square(self, corner: TightCorner, where: str) -> tuple[str, Verdict, str | None, float, str]:
        """Judge an inside corner that is drawn without a radius."""
        write, radius_mm = self._write, corner.keep_mm
        off = 1.0 / math.sin(0.5 * corner.angle_rad) - 1.0
        says = f"An inside corner of {where} is drawn "
        says += "square" if abs(corner.angle_rad - math.pi / 2) < _SQUARE_RAD else "sharp"
        says += f" but keeps the cutter's radius of {write.length(radius_mm)}, "
        says += f"{write.length(radius_mm * off)} off its edge. "
        allowed_mm = (self._zone_mm or 0.0) / off
        source = f"r (1 / sin(a/2) - 1) within {_ZONE}"
        if radius_mm <= allowed_mm:
            return f"{says}The tolerance allows that.", Verdict.GO, None, allowed_mm, source
        remedy = (
            "Drill the corner out first, draw the radius, or break the edge of what goes in there as far."
        )
        says += "Whatever goes in there must clear that radius."
        return says, Verdict.CAUTION, remedy, allowed_mm, source

    def _floor(self) -> Iterator[Finding]:
        """Hold the radius of the cutter's corner against the one drawn between floor and walls."""
        if not self._cut.walls[self._part.body]:
            return
        write, own_mm = self._write, self._run.corner_radius_mm
        drawn_mm = floor_fillet_mm(self._part.target, self._cut.lowest_mm(self._part.body))
        if drawn_mm is None:
            # A round bottom is no corner, and a countersink has no floor: `reach` says what the cutter leaves
            # and takes too much.
            return
        own, drawn, where = (
            write.length(own_mm),
            write.length(drawn_mm),
            f"{self._part.body} in {self._cut.name}",
        )
        verdict, remedy = Verdict.GO, None
        if drawn_mm > 0.0 and own_mm > drawn_mm + _SAME_MM:
            says = f"The floor of {where} is drawn R {drawn} into its walls but comes out at the cutter's "
            says += f"R {own}."
            verdict, remedy = Verdict.NO_GO, f"Take a cutter with corners of R {drawn}, or less."
        elif drawn_mm > 0.0:
            says = f"The floor of {where} comes out at R {own} into its walls, within the drawn R {drawn}."
        elif own_mm > 0.0:
            says = f"The floor of {where} is drawn square into its walls but keeps the cutter's R {own}."
            allowed = (math.sqrt(2.0) - 1.0) * own_mm <= (self._zone_mm or 0.0)
            verdict = Verdict.GO if allowed else Verdict.CAUTION
            says += " The tolerance allows that." if allowed else " Whatever seats there must clear that."
            remedy = (
                None if allowed else "Go round the floor again with a square end mill, or draw the radius."
            )
        else:
            says = f"The floor of {where} comes out square into its walls."
        yield judge(
            own_mm,
            unit="mm",
            at_most=drawn_mm,
            verdict=verdict,
            **self._text(Kind.FLOOR_RADIUS, says, remedy),
        )

    def _scallop(self) -> Iterator[Finding]:
        """Judge the ridges between the rounds of a pocket."""
        steps = [p.step_mm for p in self._cut.passes[self._part.body] if p.step_mm > 0.0]
        if not steps or self._run.corner_radius_mm <= 0.0:
            return
        write, step_mm = self._write, steps[0]
        high_mm, corner_mm = ridge_mm(self._run, step_mm), ridge_of_rounds_mm(self._run, step_mm)
        if corner_mm <= 0.0:
            return
        limit_mm = self._zone_mm if self._zone_mm is not None else self._stage.setup.tolerances.touch_mm
        turns = f"{write.gap(corner_mm * 1e3)} where they turn"
        ridges = f"{write.gap(high_mm * 1e3)} high, {turns}" if high_mm > 0.0 else f"only {turns}"
        says = f"Rounds {write.length(step_mm, 'g')} apart leave ridges on the floor of {self._part.body} in "
        says += f"{self._cut.name}: {ridges}."
        flat, radius = (
            2.0 * (0.5 * self._run.diameter_mm - self._run.corner_radius_mm),
            self._run.corner_radius_mm,
        )
        least_mm = min(limit_mm, radius)
        step = (flat + 2.0 * math.sqrt(least_mm * (2.0 * radius - least_mm))) / math.sqrt(2.0)
        short = Verdict.CAUTION if self._zone_mm is None else Verdict.NO_GO
        yield judge(
            corner_mm * 1e3,
            unit="um",
            at_most=limit_mm * 1e3,
            short=short,
            **self._text(
                Kind.SCALLOP,
                says,
                f"Step over by at most {write.length(step, '.2g', 'down')}, or finish with a square "
                "end mill.",
                _ZONE,
            ),
        )

    def _flutes(self) -> Finding:
        """Hold the flutes against the depth of the tip below the top of the stock beside it."""
        write, tip_mm = self._write, self._cut.lowest_mm(self._part.body)
        depth_mm = self._cut.depth_mm(self._part.body)
        says = f"The cutter cuts {write.length(depth_mm)} deep in {self._part.body}, its tip at z "
        says += (
            f"{write.number(tip_mm, 'mm', 'g')}; its flutes are {write.length(self._run.flute_mm, 'g')} long."
        )
        necked = self._run.neck_radius_mm is not None
        remedy = f"Take a cutter with flutes of at least {write.length(depth_mm, '.1f', 'up')}, or "
        remedy += "go" if necked else "one whose shank is thinner than its flutes, and go"
        remedy += " over it in steps of no more than they are long."
        short = Verdict.CAUTION if necked else Verdict.NO_GO
        tips = [p.z_mm for p in self._cut.passes[self._part.body] if p.from_z_mm is None]
        levels = sorted({*tips, tip_mm + depth_mm})
        at_once_mm = max((b - a for a, b in pairwise(levels)), default=depth_mm)
        if necked and at_once_mm < depth_mm - _SAME_MM:
            says += f" It goes over it in steps of at most {write.length(at_once_mm, 'g')}."
            depth_mm = at_once_mm
        return judge(
            self._run.flute_mm,
            unit="mm",
            at_least=depth_mm,
            rounding=1e-6,
            short=short,
            **self._text(Kind.FLUTE_LENGTH, says, remedy),
        )

    def _lead(self) -> Iterator[Finding]:
        """Hold how steeply a ramp or helix goes down against what the cutter bears."""
        down = [p for p in self._cut.passes[self._part.body] if p.from_z_mm is not None]
        if not down:
            return
        steep = max(down, key=lambda p: p.lead_deg)
        write, most = self._write, self._run.most_lead_deg
        says = (
            f"{self._cut.name} goes down at {angle_text(steep.lead_deg)}, {write.length(steep.drop_mm)} over "
        )
        says += f"{write.length(steep.long_mm)} of travel; the cutter takes at most {angle_text(most)}."
        longer = write.length(steep.drop_mm / math.tan(math.radians(most)), ".1f", "up")
        yield judge(
            steep.lead_deg,
            unit="deg",
            at_most=most,
            rounding=1e-9,
            **self._text(
                Kind.LEAD_ANGLE,
                says,
                f"Go down that far over {longer} of travel, or take a cutter that may go down more steeply.",
                "most_lead_deg; 3 degrees unless stated: common practice, no source",
            ),
        )

    def _overhang(self) -> Iterator[Finding]:
        """Say how much of each face that is made lies under the part itself."""
        for name in self._run.makes:
            area_mm2 = under_itself_mm2(self._body, self._part.target, name)
            if area_mm2 is None:
                continue
            ref = FaceRef.of(self._part.body, name)
            says = f"All of {ref} is open from above."
            under = area_mm2 > _LEAST_MM2
            remedy: str | None = _FROM_THE_SIDE
            if under:
                says = f"{self._write.area(area_mm2)} of {ref} lies under {self._part.body} itself, where "
                how, remedy = self._to_under()
                says += how
            yield judge(
                area_mm2 if under and remedy is not None else 0.0,
                unit="mm2",
                at_most=0.0,
                **self._text(Kind.OVERHANGING, says, remedy, ref=ref),
            )

    def _to_under(self) -> tuple[str, str | None]:
        """Say how a cutter comes under the part, and what to do where it does not; None where it does."""
        neck_mm, write = self._run.neck_radius_mm, self._write
        if neck_mm is None:
            return "no end mill comes down to it.", _FROM_THE_SIDE
        head = f"the head of {write.length(self._run.diameter_mm, 'g')}"
        if all(comes_down(self._run, self._part.target, one) for one in self._cut.passes[self._part.body]):
            on = f"on its neck of {write.length(2.0 * neck_mm, 'g')}"
            return f"{head} comes in {on} from an end that is open.", None
        return (
            f"{head} comes down at neither end of its way.",
            f"Open an end, or first mill a hole at least {write.length(self._run.diameter_mm, 'g')} across "
            f"to the floor at one end, for {head} to come down in.",
        )

    def _daylight(self, daylight_mm: float) -> Finding:
        """Hold the tool over the highest thing under it against the room below the raised spindle."""
        tool_mm = self._run.stick_out_mm + self._run.nut_long_mm
        needed_mm, says = under_spindle(self._stage, "cutter and nut are", tool_mm, daylight_mm)
        return judge(
            needed_mm,
            unit="mm",
            at_most=daylight_mm,
            **self._text(
                Kind.MILL_DAYLIGHT,
                says,
                "Take a shorter cutter or holder, or set the work lower.",
                "common practice, no source",
            ),
        )
