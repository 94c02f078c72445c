"""Index pawls, revision A: the heel is left sharp."""

from gang import gang
from pawl import pawl

heel_mm = 0.0  # chamfer on the heel
count = 4  # pawls in the gang

setup = gang(pawl(heel_mm), "index pawls, revision A", count)
