"""The link in the toolmaker's vise, raised on a parallel, to grind its top edge."""

from link import FACES, THICK, link

from fixturecheck import Cut, Machine, Seat, Setup, Wheel, body, equipment

RAISED = 16.0

vise = equipment("grinding_vise", name="vise", opening_mm=THICK)
parallel = equipment(
    "parallel", name="parallel", at=(0, -THICK / 2, 0), length_mm=50.0, width_mm=5.0, height_mm=RAISED
)
part = body("link", link(), at=(0, -THICK / 2, RAISED), material="steel_1018", faces=FACES, finish="ground")

setup = Setup(
    name="link, in the vise",
    bodies=(*vise, *parallel, part),
    seats=(
        Seat(body="link", face="back", on="vise_body", on_face="fixed_jaw", rank="primary"),
        Seat(body="link", face="foot", on="parallel", on_face="top", rank="secondary"),
        Seat(body="link", face="front", on="vise_jaw", on_face="moving_jaw", rank="tertiary"),
    ),
    cuts=(Cut(name="top", parts=("link",), floor="floor", stock_mm=0.15),),
    machine=Machine(table_z_mm=-32.0),
    wheel=Wheel(),
)
