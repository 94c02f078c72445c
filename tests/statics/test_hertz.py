"""Hertz contacts against worked values, identities, and integrals of the stress field."""

import math

import pytest
from scipy.integrate import quad

from fixturecheck.errors import SetupError
from fixturecheck.statics import stiffness as h

MODULUS = h.contact_modulus_mpa()


def stress_on_axis(z, half, pressure):
    """Principal stresses below a line contact: Johnson 1985 eq. 4.46, from memory."""
    root = math.sqrt(half**2 + z**2)
    across = -pressure / half * ((half**2 + 2 * z**2) / root - 2 * z)
    return across, -pressure * half / root


def test_a_cylinder_on_a_plane_is_pressed_as_hertz_says(compared):
    """F = 1000 N, L = D = 25 mm, E = 207 GPa, nu = 0.292: formulas as in Shigley ch. 3, from memory."""
    assert pytest.approx(113_147, rel=1e-3) == MODULUS
    line = h.line_contact(1000.0, 25.0, 12.5, MODULUS)
    assert line.half_width_mm == pytest.approx(0.07501, rel=1e-3)
    assert line.pressure_mpa == pytest.approx(339.5, rel=1e-3)
    compared("half width of a line contact", expected=75.01, got=line.half_width_mm * 1e3)
    compared("pressure of a line contact", expected=339.5, got=line.pressure_mpa)


def test_each_flank_of_a_vee():
    line = h.line_contact(1000 / (2 * math.sin(math.pi / 4)), 25.0, 12.5, MODULUS)
    assert line.half_width_mm == pytest.approx(0.06308, rel=1e-3)
    assert line.pressure_mpa == pytest.approx(285.5, rel=1e-3)


def test_ceramic_on_bearing_steel():
    """E 550 and 200 GPa, nu 0.3, R = 1 mm, 10 N/mm: materials from Fleming, LMU MECH 570."""
    modulus = h.contact_modulus_mpa(
        h.Elastic(modulus_mpa=550e3, poisson=0.3), h.Elastic(modulus_mpa=200e3, poisson=0.3)
    )
    assert modulus == pytest.approx(161_172, rel=1e-3)
    line = h.line_contact(10.0, 1.0, 1.0, modulus)
    assert line.half_width_mm * 1e3 == pytest.approx(8.888, rel=1e-3)
    assert line.pressure_mpa == pytest.approx(716.3, rel=1e-3)


def test_a_ball_on_a_plane_is_pressed_as_hertz_says(compared):
    """R = 12.5 mm, 100 N, steel: Johnson, from memory."""
    point = h.point_contact(100.0, 12.5, MODULUS)
    assert point.radius_mm == pytest.approx(0.20235, rel=1e-3)
    assert point.pressure_mpa == pytest.approx(1166.1, rel=1e-3)
    assert point.approach_mm * 1e3 == pytest.approx(3.2757, rel=1e-3)
    compared("approach of a ball", expected=3.2757, got=point.approach_mm * 1e3)


@pytest.mark.parametrize("force", [1.0, 37.0, 5e4])
def test_pressure_carries_the_load(force):
    line = h.line_contact(force, 7.0, 3.0, MODULUS)
    assert line.pressure_mpa == pytest.approx(2 / math.pi * force / 7.0 / line.half_width_mm, rel=1e-12)
    point = h.point_contact(force, 3.0, MODULUS)
    assert point.pressure_mpa == pytest.approx(1.5 * force / (math.pi * point.radius_mm**2), rel=1e-12)


def test_stiffness_of_a_ball_is_the_slope_of_its_approach():
    step = 1e-3
    up, down = (h.point_contact(100.0 + s, 12.5, MODULUS).approach_mm for s in (step, -step))
    assert h.point_contact(100.0, 12.5, MODULUS).stiffness_n_mm == pytest.approx(
        2 * step / (up - down), rel=1e-6
    )


def test_stiffness_of_a_line_is_the_slope_of_the_integral_of_the_strain_below_it():
    """Strain from the stress on the axis (Johnson 1985 eq. 4.46, from memory), down to the depth stated."""
    depth, steel = 12.0, h.STEEL

    def approach_mm(force_n):
        line = h.line_contact(force_n, 25.0, 12.5, MODULUS)

        def strain(z):
            across, along = stress_on_axis(z, line.half_width_mm, line.pressure_mpa)
            nu = steel.poisson
            return -(1 - nu**2) / steel.modulus_mpa * (along - nu / (1 - nu) * across)

        return 2 * quad(strain, 0.0, depth, points=[0.1, 1.0], limit=200, epsabs=1e-13)[0]

    slope = (approach_mm(1005.0) - approach_mm(995.0)) / 10.0
    assert h.line_stiffness_n_mm(1e3, 25.0, 12.5, depth) == pytest.approx(1 / slope, rel=1e-3)


def test_flat_face_is_a_round_punch():
    """Stiffness 2 E* a; a ball's contact of that radius has the same: Sneddon 1965, from memory."""
    point = h.point_contact(100.0, 12.5, MODULUS)
    area = math.pi * point.radius_mm**2
    assert h.face_stiffness_n_mm(area, MODULUS) == pytest.approx(point.stiffness_n_mm, rel=1e-12)


def test_bad_numbers_are_refused():
    with pytest.raises(SetupError, match="line contact"):
        h.line_contact(0.0, 1.0, 1.0, MODULUS)
    with pytest.raises(SetupError, match="point contact"):
        h.point_contact(math.nan, 1.0, MODULUS)
    with pytest.raises(SetupError, match="impossible"):
        h.contact_modulus_mpa(h.Elastic(modulus_mpa=-1.0))
