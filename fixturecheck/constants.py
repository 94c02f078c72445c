"""Which constants of nature does more than one room compute with."""

import math

MU0_H_M = 4e-7 * math.pi
"""Permeability of free space, henry per metre."""

GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall, ISO 80000-3."""

PURE_IRON_J_T = 2.16
"""Saturation polarisation of pure iron: end of the pure iron curve of a public magnetics table, 2.160 T. No
plain steel lies above it."""
