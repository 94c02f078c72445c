"""The link stood upright in the V-block, to grind its top edge: it bears on two edges only."""

from link import FACES, THICK, link

from fixturecheck import Cut, Machine, Seat, Setup, Wheel, body, equipment

vee = equipment("magnetic_v_block", name="vee", length_mm=80.0, width_mm=50.0, height_mm=40.0, land_mm=16.0)
part = body("link", link(), at=(0, 0, THICK / 2), material="steel_1018", faces=FACES, finish="ground")

setup = Setup(
    name="link, on edge in the V-block",
    bodies=(*vee, part),
    seats=(
        Seat(body="link", face="foot", on="vee_left", on_face="left_flank", rank="primary"),
        Seat(body="link", face="foot", on="vee_right", on_face="right_flank", rank="secondary"),
    ),
    cuts=(Cut(name="top", parts=("link",), floor="floor", stock_mm=0.15),),
    machine=Machine(table_z_mm=-31.0),
    wheel=Wheel(),
)
