"""The gib between low blocks with the magnet on: does it hold against its cut."""

from dataclasses import replace

from gib import on_chuck

from fixturecheck import Holding

rated_pull_n_cm2 = 80.0  # of the chuck, as its maker states it
downfeed_mm = 0.01

stated = on_chuck(8.0, "gib, held by the magnet")
setup = replace(
    stated,
    cuts=tuple(replace(c, downfeed_mm=downfeed_mm) for c in stated.cuts),
    holding=Holding(magnet="full", rated_pull_n_cm2=rated_pull_n_cm2),
)
