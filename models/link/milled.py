"""The link clamped in the vise, its top edge milled before it is ground: does the vise hold the cutter.

It does not as stated: at less than three times the load the link tips up into the cutter. At 0.4 mm deep it
holds, and where it would go is a caution.
"""

from dataclasses import replace

from in_vise_clamped import setup as clamped

from fixturecheck import Milling

deep_mm = 0.5

setup = replace(
    clamped,
    name="link, milled in the vise",
    cuts=(),
    holding=replace(
        clamped.holding,
        milling=(
            Milling(
                name="edge",
                parts=("link",),
                face="floor",
                cutter_mm=16.0,
                teeth=3,
                deep_mm=deep_mm,
                wide_mm=6.0,
                feed_mm_tooth=0.03,
            ),
        ),
    ),
)
