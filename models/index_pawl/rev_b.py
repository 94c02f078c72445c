"""Index pawls, revision B: the heel is relieved, so that the pawls nest."""

from gang import gang
from pawl import pawl

heel_mm = 1.0  # chamfer on the heel
count = 4  # pawls in the gang

setup = gang(pawl(heel_mm), "index pawls, revision B", count)
