"""Solids and iron that several flux tests share."""

import math

import cadquery as cq

from fixturecheck import equipment
from fixturecheck.kernel.brep.topology import faces_of
from fixturecheck.kernel.shapes import Placed
from fixturecheck.magnet.circuit import Iron, Pole, magnet_model
from fixturecheck.magnet.field.bh import fit_law

# Points of a public magnetics material table, retyped: (A/m, T).
STEEL_1010 = [(795.8, 1.335), (1588, 1.517), (3988, 1.638), (7958, 1.777), (15878, 1.911), (31680, 2.018),
              (79577, 2.162), (316804, 2.471)]  # fmt: skip
STEEL_1018 = [(238.7, 0.250), (795.8, 0.925), (1591.5, 1.25), (2387, 1.39), (3979, 1.525), (7958, 1.71),
              (15916, 1.87), (23873, 1.955), (39789, 2.02), (79578, 2.11), (159160, 2.225),
              (318310, 2.43)]  # fmt: skip
STEEL_1020 = [(795.8, 1.173), (1588, 1.438), (3988, 1.650), (7958, 1.835), (15878, 1.999)]
DUCTILE = [(443, 0.208), (1022, 0.630), (1697, 0.873), (3123, 1.112), (9273, 1.368), (20396, 1.505),
           (36473, 1.587), (81126, 1.705), (326290, 2.070)]  # fmt: skip
GRAY = [(907, 0.207), (1816, 0.410), (4806, 0.695), (11591, 0.958), (34377, 1.318), (105250, 1.684)]
STAINLESS_455 = [(343, 0.067), (996, 0.410), (1417, 0.868), (2932, 1.134), (8086, 1.376), (28604, 1.50)]
# TEAM workshop problems 13 and 20, (T, A/m) in their tables, turned round.
TEAM_20 = [(153, 0.1), (205, 0.2), (285, 0.5), (405, 0.8), (555, 1.0), (836, 1.2), (1420, 1.4), (2130, 1.5),
           (3480, 1.6), (5950, 1.7), (10100, 1.8), (15900, 1.9), (26300, 2.0), (42700, 2.1), (84300, 2.2),
           (135000, 2.3)]  # fmt: skip
# The same with every point of the table.
TEAM_20_ALL = [(100, 0.05), (153, 0.1), (205, 0.2), (233, 0.3), (255, 0.4), (285, 0.5), (320, 0.6),
               (355, 0.7), (405, 0.8), (470, 0.9), (555, 1.0), (673, 1.1), (836, 1.2), (1065, 1.3),
               (1220, 1.35), (1420, 1.4), (1720, 1.45), (2130, 1.5), (2670, 1.55), (3480, 1.6),
               (4500, 1.65), (5950, 1.7), (7650, 1.75), (10100, 1.8), (13000, 1.85), (15900, 1.9),
               (21100, 1.95), (26300, 2.0), (32900, 2.05), (42700, 2.1), (61700, 2.15), (84300, 2.2),
               (110000, 2.25), (135000, 2.3)]  # fmt: skip
TEAM_13 = [(16, 0.0025), (30, 0.005), (54, 0.0125), (93, 0.025), (143, 0.05), (191, 0.1), (210, 0.2),
           (222, 0.3), (233, 0.4), (247, 0.5), (258, 0.6), (272, 0.7), (289, 0.8), (313, 0.9), (342, 1.0),
           (377, 1.1), (433, 1.2), (509, 1.3), (648, 1.4), (933, 1.5), (1228, 1.55), (1934, 1.6),
           (2913, 1.65), (4993, 1.7), (7189, 1.75), (9423, 1.8)]  # fmt: skip

MILD = fit_law("steel_1018", STEEL_1018)


def iron(name, solid, *, law=MILD, pole=None):
    """A body of which face n is called f<n>."""
    names = tuple(f"f{i}" for i in range(len(faces_of(solid))))
    return Iron(placed=Placed(name=name, solid=solid, face_names=names), law=law, pole=pole)


def facing(solid, selector):
    """Indices of the faces that a selector picks."""
    picked = cq.Workplane(solid).faces(selector).vals()
    return tuple(i for i, f in enumerate(faces_of(solid)) if any(f.isSame(p) for p in picked))


def block(x, y, z, *, at=(0, 0, 0)):
    """A block whose underside is centred on a point."""
    return cq.Workplane().box(x, y, z, centered=(True, True, False)).translate(at).val()


def bars(
    *, count=2, iron_mm=10.0, spacer_mm=3.0, length_mm=40.0, deep_mm=10.0, mmf_a=100.0, source_gap_mm=0.064
):
    """Poles of a flat chuck along Y, alternately north and south, tops at z = 0."""
    pitch = iron_mm + spacer_mm
    out = []
    for i in range(count):
        x = (i - (count - 1) / 2) * pitch
        solid = block(iron_mm, length_mm, deep_mm, at=(x, 0, -deep_mm))
        pole = Pole(
            mmf_a=mmf_a if i % 2 else -mmf_a, source_gap_mm=source_gap_mm, back_faces=facing(solid, "<Z")
        )
        out.append(iron(f"pole{i}", solid, pole=pole))
    return out


def vee(*, mmf_a=150.0, source_gap_mm=0.04, long_mm=30.0):
    """The two halves of a magnetic V-block, 5 mm apart, with the lines of its flanks meeting at z = 0."""
    out = []
    for side, name in ((-1, "left"), (1, "right")):
        outline = [(2.5, -20), (22, -20), (22, 22), (2.5, 2.5)]
        plane = cq.Workplane("XZ").polyline([(side * x, z) for x, z in outline]).close()
        solid = plane.extrude(long_mm / 2, both=True).val()
        back = facing(solid, ">X" if side > 0 else "<X")
        pole = Pole(mmf_a=side * mmf_a, source_gap_mm=source_gap_mm, back_faces=back)
        out.append(iron(name, solid, pole=pole))
    return out


def shipped_vee(*, mmf_a, source_gap_mm, long_mm=30.0):
    """The shop's magnetic V-block, its trough along Y, with the magnet under it."""
    out = []
    for half in equipment("magnetic_v_block", name="vee", length_mm=long_mm):
        if half.pole:
            solid = half.solid.rotate(cq.Vector(0, 0, 0), cq.Vector(0, 0, 1), -90)
            sign = 1 if half.pole == "n" else -1
            pole = Pole(mmf_a=sign * mmf_a, source_gap_mm=source_gap_mm, back_faces=facing(solid, "<Z"))
            out.append(iron("left" if sign > 0 else "right", solid, pole=pole))
    return out


def nested_bar(*, side_mm=12.0, long_mm=30.0, lift_mm=0.0):
    """A square bar in the V, lifted off the left flank along the right one."""
    bar = cq.Workplane().box(side_mm, long_mm, side_mm).rotate((0, 0, 0), (0, 1, 0), 45)
    step = lift_mm / math.sqrt(2)
    return bar.translate((step, 0, side_mm / math.sqrt(2) + step)).val()


def model(parts, poles, *, gap_um=5.0, law=MILD, **more):
    """Parts (name to solid) on poles, every seat with one gap."""
    irons = [iron(n, s, law=law) for n, s in parts.items()] + poles
    return magnet_model(irons, seat_gap_um=lambda _a, _b: gap_um, **more)


def hold(parts, poles, *, name="part", strength=1.0, **more):
    """Force on one part, N, shape (3,)."""
    return model(parts, poles, **more).solve(strength).body(name).force_n
