"""Ten set-ups against MuJoCo: at 3 % below our collapse it stays, at 3 % above it goes, and the same way.

MuJoCo finds its own contacts from boxes and marches in time; we give contact points at the corners of the
faces that meet. Its contacts are soft and creep, so staying means less than a fifth of what going moves.
"""

from dataclasses import dataclass

import mujoco
import numpy as np
import pytest

from fixturecheck.statics.collapse import collapse
from fixturecheck.statics.equilibrium import ContactPoint, EquilibriumProblem, Load, Rigid

BAND = 0.03
FAR_MM = 4.0
SECONDS = 0.25
STEP_S = 0.0005
PUSH_DAMPING, TURN_DAMPING = 30.0, 0.012


@dataclass(frozen=True, kw_only=True)
class Box:
    name: str
    size: tuple[float, float, float]
    at: tuple[float, float, float]
    turn_x_deg: float = 0.0
    fixed: bool = False
    guide: tuple[float, float, float] | None = None

    @property
    def rotation(self):
        a = np.radians(self.turn_x_deg)
        return np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])


@dataclass(frozen=True, kw_only=True)
class Case:
    boxes: tuple[Box, ...]
    # Faces that meet: body, other body or "", centre, normal out of the body, half extents of the overlap.
    faces: tuple[tuple, ...]
    mu: float
    # Loads that stay: body, force, point; and the growing one.
    held: tuple[tuple, ...]
    cut: tuple
    floor: bool = True


def corners(centre, normal, first, second):
    centre, first, second = (np.array(v, dtype=float) for v in (centre, first, second))
    return [centre + a * first + b * second for a in (-1, 1) for b in (-1, 1)]


def holding(case):
    contacts = [
        ContactPoint(a=a, b=b, at_mm=tuple(p), normal=tuple(normal), mu=case.mu)
        for a, b, centre, normal, first, second in case.faces
        for p in corners(centre, normal, first, second)
    ]
    bodies = [
        Rigid(name=b.name, at_mm=b.at, size_mm=max(b.size) / 2, slides_along=b.guide)
        for b in case.boxes
        if not b.fixed
    ]
    return EquilibriumProblem(
        bodies=tuple(bodies),
        contacts=tuple(contacts),
        held=tuple(Load(body=b, force_n=f, at_mm=p) for b, f, p in case.held),
        cutting=(Load(body=case.cut[0], force_n=case.cut[1], at_mm=case.cut[2]),),
    )


def model_xml(case, step_s):
    parts = []
    for box in case.boxes:
        size = " ".join(str(s / 2000) for s in box.size)
        at = " ".join(str(a / 1000) for a in box.at)
        half = np.radians(box.turn_x_deg) / 2
        joint = "" if box.fixed else "<freejoint/>"
        if box.guide:
            joint = f'<joint type="slide" axis="{" ".join(map(str, box.guide))}"/>'
        parts.append(
            f'<body name="{box.name}" pos="{at}" quat="{np.cos(half)} {np.sin(half)} 0 0">{joint}'
            f'<geom type="box" size="{size}" density="7850"/></body>'
        )
    floor = '<geom type="plane" size="1 1 .1"/>' if case.floor else ""
    return f"""<mujoco><option timestep="{step_s}" gravity="0 0 0" cone="elliptic" impratio="50"
      noslip_iterations="20"/><default><geom friction="{case.mu} 0 0" condim="3" solref="0.002 1"
      solimp="0.99 0.999 0.0001"/></default><worldbody>{floor}{"".join(parts)}</worldbody></mujoco>"""


def march(case, factor, seconds=SECONDS, step_s=STEP_S):
    """Travel (mm) of each moving box under a share of the growing load, as a shift of centre and a turn."""
    model = mujoco.MjModel.from_xml_string(model_xml(case, step_s))
    data = mujoco.MjData(model)
    sizes = {b.name: max(b.size) / 2 for b in case.boxes}
    moving = [b.name for b in case.boxes if not b.fixed]

    def push(scale):
        data.qfrc_applied[:] = -viscous * data.qvel
        for name, force, point, size in [(*h, 1.0) for h in case.held] + [(*case.cut, scale)]:
            start = np.array(next(b.at for b in case.boxes if b.name == name))
            arm = data.body(name).xmat.reshape(3, 3) @ (base[name].T @ (np.array(point) - start)) / 1000
            mujoco.mj_applyFT(
                model,
                data,
                np.array(force, dtype=float) * size,
                np.zeros(3),
                data.body(name).xpos + arm,
                data.body(name).id,
                data.qfrc_applied,
            )

    # Loads grow without end of time in a quasi-static analysis; damping takes the place of patience.
    viscous = np.where(model.dof_jntid >= 0, PUSH_DAMPING, 0.0)
    for joint in range(model.njnt):
        if model.jnt_type[joint] == mujoco.mjtJoint.mjJNT_FREE:
            viscous[model.jnt_dofadr[joint] + 3 : model.jnt_dofadr[joint] + 6] = TURN_DAMPING
    mujoco.mj_forward(model, data)
    base = {b.name: data.body(b.name).xmat.reshape(3, 3).copy() for b in case.boxes}
    steps = int(seconds / model.opt.timestep)
    for step in range(2 * steps):
        push(factor * min(1.0, max(0.0, (step - steps // 4) / steps)))
        mujoco.mj_step(model, data)
        if step == steps // 4:
            start = {n: data.body(n).xpos.copy() for n in moving}
        if step >= steps // 4 and step % 10 == 0:
            moved = {n: travel(data.body(n), start[n], base[n], sizes[n]) for n in moving}
            if max(sum(v) for v in moved.values()) > FAR_MM:
                break
    return moved


def travel(body, start, base, size):
    """Shift of the centre and turn at the body's half size, mm."""
    relative = body.xmat.reshape(3, 3) @ base.T
    angle = np.arccos(np.clip((np.trace(relative) - 1) / 2, -1, 1))
    return np.linalg.norm(body.xpos - start) * 1000, angle * size


PULL = (0.0, 0.0, -500.0)
BLOCK = Box(name="part", size=(40, 40, 40), at=(0, 0, 20))
TALL = Box(name="part", size=(40, 40, 120), at=(0, 0, 60))
SEAT = ("part", "", (0, 0, 0), (0, 0, -1), (20, 0, 0), (0, 20, 0))
STOP = Box(name="stop", size=(20, 40, 10), at=(30, 0, 5), fixed=True)
NEXT = Box(name="next", size=(40, 40, 40), at=(40, 0, 20))
NEXT_SEAT = ("next", "", (40, 0, 0), (0, 0, -1), (20, 0, 0), (0, 20, 0))
BETWEEN = ("part", "next", (20, 0, 20), (1, 0, 0), (0, 20, 0), (0, 0, 20))

CASES = {
    "block on the chuck slides": Case(
        boxes=(BLOCK,), faces=(SEAT,), mu=0.2, held=(("part", PULL, (0, 0, 20)),),
        cut=("part", (100, 0, 0), (0, 0, 30)),
    ),
    "tall block tips": Case(
        boxes=(TALL,), faces=(SEAT,), mu=0.3, held=(("part", PULL, (0, 0, 60)),),
        cut=("part", (100, 0, 0), (0, 0, 110)),
    ),
    "pressed and pushed aslant": Case(
        boxes=(BLOCK,), faces=(SEAT,), mu=0.25, held=(("part", PULL, (0, 0, 20)),),
        cut=("part", (80, 60, -60), (0, 0, 20)),
    ),
    "low stop: goes over it": Case(
        boxes=(TALL, STOP), mu=0.2,
        faces=(SEAT, ("part", "", (20, 0, 5), (1, 0, 0), (0, 20, 0), (0, 0, 5))),
        held=(("part", PULL, (0, 0, 60)),), cut=("part", (100, 0, 0), (0, 0, 120)),
    ),
    "pushed off centre: turns": Case(
        boxes=(BLOCK,), faces=(SEAT,), mu=0.2, held=(("part", PULL, (0, 0, 20)),),
        cut=("part", (100, 0, 0), (0, 60, 5)),
    ),
    "two in a row slide together": Case(
        boxes=(BLOCK, NEXT), faces=(SEAT, NEXT_SEAT, BETWEEN), mu=0.2,
        held=(("part", PULL, (0, 0, 20)), ("next", PULL, (40, 0, 20))),
        cut=("part", (100, 0, 0), (0, 0, 10)),
    ),
    "the weaker of two goes alone": Case(
        boxes=(BLOCK, NEXT), faces=(SEAT, NEXT_SEAT, BETWEEN), mu=0.2,
        held=(("part", PULL, (0, 0, 20)), ("next", (0, 0, -150), (40, 0, 20))),
        cut=("next", (100, 0, 0), (40, 0, 10)),
    ),
    "square bar in a vee slides along it": Case(
        boxes=(
            Box(name="part", size=(80, 40, 40), at=(0, 0, 28.28427), turn_x_deg=45),
            Box(name="left", size=(100, 60, 20), at=(0, -28.28427, 14.14214), turn_x_deg=-45, fixed=True),
            Box(name="right", size=(100, 60, 20), at=(0, 28.28427, 14.14214), turn_x_deg=45, fixed=True),
        ),
        faces=(
            ("part", "", (0, -14.14214, 14.14214), (0, -0.7071068, -0.7071068), (40, 0, 0),
             (0, -14.14214, 14.14214)),
            ("part", "", (0, 14.14214, 14.14214), (0, 0.7071068, -0.7071068), (40, 0, 0),
             (0, 14.14214, 14.14214)),
        ),
        mu=0.2, held=(("part", PULL, (0, 0, 28.28427)),), cut=("part", (100, 0, 0), (0, 0, 28.28427)),
        floor=False,
    ),
    "top of a stack slides off": Case(
        boxes=(BLOCK, Box(name="top", size=(40, 40, 20), at=(0, 0, 50))),
        faces=(SEAT, ("top", "part", (0, 0, 40), (0, 0, -1), (20, 0, 0), (0, 20, 0))),
        mu=0.2, held=(("part", PULL, (0, 0, 20)), ("top", (0, 0, -100), (0, 0, 50))),
        cut=("top", (0, 100, 0), (0, 0, 45)),
    ),
    "bar in a vise is pulled out": Case(
        boxes=(
            Box(name="part", size=(60, 20, 40), at=(0, 0, 30)),
            Box(name="fixed", size=(80, 20, 40), at=(0, -20, 30), fixed=True),
            Box(name="jaw", size=(80, 20, 40), at=(0, 20, 30), guide=(0, 1, 0)),
        ),
        faces=(
            ("part", "", (0, -10, 30), (0, -1, 0), (30, 0, 0), (0, 0, 20)),
            ("part", "jaw", (0, 10, 30), (0, 1, 0), (30, 0, 0), (0, 0, 20)),
        ),
        mu=0.2, held=(("jaw", (0, -500, 0), (0, 20, 30)),), cut=("part", (0, 0, 100), (0, 0, 30)),
        floor=False,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_what_lets_go_first_and_at_what_load_is_that_of_mujoco(name):
    case = CASES[name]
    ours = collapse(holding(case))
    assert 0.1 < ours.factor.low < 50
    stays, goes = (march(case, ours.factor.low * share) for share in (1 - BAND, 1 + BAND))
    still = max(sum(v) for v in stays.values())
    first = max(goes, key=lambda n: sum(goes[n]))
    assert sum(goes[first]) > 1.0
    assert still < 0.2 * sum(goes[first])
    # The same bodies go: each that moves a fifth of the fastest there is among ours, and none else.
    theirs = {n for n, v in goes.items() if sum(v) > 0.2 * sum(goes[first])}
    assert theirs == {m.body for m in ours.motions}
    motion = next(m for m in ours.motions if m.body == first)
    shift, turn = goes[first]
    if motion.kind in {"slides", "lifts"}:
        assert turn < 0.2 * shift
    else:
        assert turn > 0.4 * shift


def test_in_a_vee_the_upper_bound_is_not_what_holds():
    """Friction that dilates would wedge the bar and hold 2 % more; MuJoCo's bar goes at 1 % above ours."""
    case = CASES["square bar in a vee slides along it"]
    ours = collapse(holding(case))
    assert ours.factor.low == pytest.approx(0.2 * 500 * np.sqrt(2) / 100, rel=1e-4)
    assert ours.bound_factor > 1.02 * ours.factor.low
    assert sum(march(case, 0.99 * ours.factor.low)["part"]) < 0.01
    assert sum(march(case, 1.01 * ours.factor.low)["part"]) > 1.0


def random_gang(seed):
    """Two or three boxes in a row, each drawn down, the first pushed toward the others, a little aslant."""
    rng = np.random.default_rng(seed)
    edge, boxes, faces, held, last = 0.0, [], [], [], None
    for i in range(int(rng.integers(2, 4))):
        w, d, h = (float(round(v, 1)) for v in rng.uniform((20, 20, 20), (40, 50, 50)))
        name, middle = f"part_{i}", (edge + w / 2, 0.0, h / 2)
        boxes.append(Box(name=name, size=(w, d, h), at=middle))
        faces.append((name, "", (edge + w / 2, 0, 0), (0, 0, -1), (w / 2, 0, 0), (0, d / 2, 0)))
        if last:
            low, deep = min(h, last[2]), min(d, last[1])
            faces.append((last[0], name, (edge, 0, low / 2), (1, 0, 0), (0, deep / 2, 0), (0, 0, low / 2)))
        held.append((name, (0, 0, -float(rng.uniform(50, 500))), middle))
        edge, last = edge + w, (name, d, h)
    first = boxes[0]
    push = 100 * (rng.normal(size=3) * 0.4 + (1.2, 0, -0.5))
    y, z = float(rng.uniform(-0.3, 0.3)) * first.size[1], float(rng.uniform(0.3, 1)) * first.size[2]
    cut = ("part_0", tuple(push), (first.at[0], y, z))
    mu = float(round(rng.uniform(0.15, 0.35), 2))
    return Case(boxes=tuple(boxes), faces=tuple(faces), mu=mu, held=tuple(held), cut=cut)


@pytest.mark.parametrize("seed", range(12))
def test_random_gangs_against_mujoco(seed):
    """3 % above our range MuJoCo's gang goes. Below it, MuJoCo's boxes jump from one contact to another, by
    up to a millimetre; 20 % below, loaded slowly, they come to rest."""
    case = random_gang(seed)
    ours = collapse(holding(case))
    goes = march(case, 1.03 * ours.factor.high)
    assert max(sum(v) for v in goes.values()) > FAR_MM
    assert max(goes, key=lambda n: sum(goes[n])) in {m.body for m in ours.motions}
    stays = march(case, 0.8 * ours.factor.low, seconds=1.0)
    assert max(sum(v) for v in stays.values()) < 1.2


@pytest.mark.parametrize(("seed", "fine_s", "share"), [(18, 0.00025, 0.8), (26, 0.0000625, 0.9)])
def test_gangs_that_jump_off_are_held_with_a_finer_step(seed, fine_s, share):
    """Of the gangs 0 to 40 two leave 20 % below our range, and it is the march that throws them off.

    Each time the step of 0.5 ms is halved, gang 18 travels 2.0, 0.36, 0.15 mm and gang 26 travels 4.3, 4.1,
    1.6, 0.07 mm. In the finest of these steps gang 26 rests at 0.9 of ours and goes at 1.03.
    """
    case = random_gang(seed)
    ours = collapse(holding(case))
    coarse, fine = (
        march(case, share_now * ours.factor.low, seconds=1.0, step_s=step_s)
        for share_now, step_s in ((0.8, STEP_S), (share, fine_s))
    )
    assert max(sum(v) for v in coarse.values()) > 1.2
    assert max(sum(v) for v in fine.values()) < 0.5
