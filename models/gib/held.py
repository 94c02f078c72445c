"""The gib between low blocks with the magnet on: does it hold against its cut."""

from dataclasses import replace

from gib import on_chuck

from fixturecheck import Handwheel, Holding

rated_pull_n_cm2 = 80.0  # of the chuck, as its maker states it
downfeed_mm = 0.01

on_the_chuck = on_chuck(8.0, "gib, held by the magnet", downfeed_mm=downfeed_mm)
setup = replace(
    on_the_chuck,
    machine=replace(
        on_the_chuck.machine,
        downfeed=Handwheel(graduation_mm=0.005, turn_mm=1.0, counts_up="down"),
        cross_feed=Handwheel(graduation_mm=0.02, turn_mm=4.0, counts_up="in", backlash_mm=0.1),
    ),
    holding=Holding(magnet="full", rated_pull_n_cm2=rated_pull_n_cm2),
)
