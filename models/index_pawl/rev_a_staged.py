"""Index pawls, revision A, staged one after the other toward the stop: where they come to rest."""

from gang import gang, staged
from pawl import pawl

heel_mm = 0.0  # chamfer on the heel
count = 4  # pawls in the gang

setup = staged(gang(pawl(heel_mm), "index pawls, revision A, staged", count))
