"""Set-ups from their solids: loaded by one known force, or judged without following what happens next."""

from fixturecheck.checks import hold
from fixturecheck.checks.stage import Stage
from fixturecheck.contact.patches.contact_map import find_contacts
from fixturecheck.holding.factor import bearing_of, every_case, part_hold, rig_of, single_losses
from fixturecheck.holding.model import Held
from fixturecheck.machining.as_ground import grind
from fixturecheck.result.hold import Driver
from fixturecheck.statics.collapse import collapse
from fixturecheck.statics.equilibrium import Load


def rigged(setup, pulls=None):
    """Return what holds a set-up, from its solids."""
    return _rig(setup, pulls)[-1]


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
            bearing = bearing_of(setup, placed, cut, setup.body(name))
            borne = every_case(rig, bearing)
            parts.append(part_hold(rig, bearing, borne, cut=cut.cut.name, losable=single_losses(setup, rig)))
    held = Held(parts=tuple(parts), pulls=pulls, release=None, missing={})
    return Stage(setup=setup, placed=placed, contacts=contacts, cuts=cuts, held=held)


def _rig(setup, pulls):
    placed = {b.name: b.solid.moved(b.at) for b in setup.bodies}
    contacts = find_contacts([b.placed() for b in setup.bodies], setup.tolerances)
    return placed, contacts, rig_of(setup, placed, contacts, pulls)
