"""Set-ups from their solids: loaded by one known force, or judged without following what happens next."""

from dataclasses import dataclass
from functools import partial

import numpy as np

from fixturecheck.checks import hold
from fixturecheck.checks.stage import Stage
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.faceref import FaceRef
from fixturecheck.holding.cutter import MillingProcess
from fixturecheck.holding.factor import load_cases, losses_of, part_hold, single_losses
from fixturecheck.holding.model import Held
from fixturecheck.holding.rig import Rig, rig_of
from fixturecheck.holding.wheel import grinding_of
from fixturecheck.machining.as_ground import grind
from fixturecheck.magnet.pull import FacePull
from fixturecheck.result.hold import Driver
from fixturecheck.setup.holding import Clamp
from fixturecheck.statics.collapse import collapse
from fixturecheck.statics.equilibrium import Load


def rigged(setup, pulls=None):
    """Return what holds a set-up, from its solids."""
    return _rig(setup, pulls)[-1]


def strap(body, at_mm, screw_n=1000.0, name="strap", **more):
    """A strap midway between heel and screw presses with half of its screw's force, here known exactly."""
    return Clamp(name=name, kind="strap", body=body, at_mm=at_mm, force_n=screw_n, spread_share=0.0, **more)


def let_go(rig, body, force_n, at_mm, *, mu, clamp_share=0.5):
    """Return how a force on a body is borne, friction and clamps being known."""
    load = Load(body=body, force_n=force_n, at_mm=at_mm)
    return collapse(rig.holding({Driver.FRICTION: mu, Driver.CLAMP: clamp_share}, (load,)), ceiling=1e5)


def judged(setup, pulls=None):
    """Return the findings on whether each part holds, what happens beyond that left out."""
    return list(hold.check(unfollowed(setup, pulls)))


def unfollowed(setup, pulls=None):
    """Return how each part holds, without following what happens next and without cures."""
    placed, contacts, rig = _rig(setup, pulls)
    cuts = tuple(grind(setup, cut) for cut in setup.cuts)
    parts = []
    for cut in cuts:
        for name in cut.cut.parts:
            process = grinding_of(setup, placed, cut, setup.body(name))
            every = load_cases(rig, process)
            losses = partial(losses_of, single_losses(setup, rig), rig, process)
            parts.append(part_hold(rig, process, every, losses=losses))
    held = Held(parts=tuple(parts), pulls=pulls, release=None, missing={})
    return Stage(setup=setup, placed=placed, contacts=contacts, cuts=cuts, held=held)


@dataclass(frozen=True, kw_only=True)
class Milled:
    """A part under a milling cut, with what holds it."""

    process: MillingProcess
    rig: Rig

    def loaded(self):
        """Return every case of it."""
        return load_cases(self.rig, self.process)

    def hold(self, every=None):
        """Return how it holds, no loss looked at."""
        losses = partial(losses_of, (), self.rig, self.process)
        return part_hold(self.rig, self.process, every or self.loaded(), losses=losses)

    def scene(self):
        """Return what stands there once it has let go."""
        return self.process.scene(self.rig)


def milled(setup, part="part"):
    """Return a part of a set-up under its one milling cut."""
    placed, _, rig = _rig(setup, None)
    (mill,) = setup.holding.milling
    return Milled(process=MillingProcess(setup=setup, placed=placed, mill=mill, part=part), rig=rig)


def ground(setup, pulls=None):
    """Return the first part of a set-up under its first cut of the wheel, and what holds it."""
    placed, _, rig = _rig(setup, pulls)
    cut = setup.cuts[0]
    return grinding_of(setup, placed, grind(setup, cut), setup.body(cut.parts[0])), rig


def _rig(setup, pulls):
    placed = {b.name: b.solid.moved(b.at) for b in setup.bodies}
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    return placed, contacts, rig_of(setup, placed, contacts, pulls)


def magnet_pull(a, b, size_n, area_mm2=1600.0):
    """The pull of a magnet between two faces, straight down in the middle."""
    return FacePull(
        a=FaceRef(a), b=FaceRef(b), weak_n=size_n, strong_n=size_n, weak_at_mm=np.zeros(3),
        strong_at_mm=np.zeros(3),
        toward=np.array([0.0, 0.0, -1.0]), area_mm2=area_mm2, flux_density_t=0.5, low_share=1.0,
        high_share=1.0, points_mm=np.zeros((1, 3)), pressure_n_mm2=np.zeros(1),
    )  # fmt: skip
