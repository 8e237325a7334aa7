"""Coordinate systems against published EPSG worked examples, and feet against feet.

The projections are PROJ's. These tests hold down what we count on: which way axes run, which
foot is meant, and that the installed data give the published figures.
"""

from fractions import Fraction

import pyproj
import pytest

from model.units import si_per

US_FOOT = Fraction(1200, 3937)
FOOT = Fraction(3048, 10000)

# EPSG method 9802 (Lambert conformal conic, two parallels) and 9807 (transverse Mercator):
# worked examples of IOGP Guidance Note 7-2, seen second-hand in public test suites.
LAMBERT = (
    "+proj=lcc +ellps=clrk66 +lat_1=28.38333333333333 +lat_2=30.28333333333333 "
    "+lat_0=27.83333333333333 +lon_0=-99 +x_0=609601.2192024384 +y_0=0"
)
MERCATOR = "+proj=tmerc +ellps=airy +lat_0=49 +lon_0=-2 +k=0.9996012717 +x_0=400000 +y_0=-100000"


def feet_between(crs, lon, lat, factor):
    x, y = pyproj.Proj(crs)(lon, lat)
    return x / float(factor), y / float(factor)


def test_lambert_conic_gives_the_published_feet():
    found = feet_between(LAMBERT, -96.0, 28.5, US_FOOT)
    assert found == pytest.approx((2963503.91, 254759.80), abs=0.02)


def test_lambert_conic_is_what_the_registry_calls_texas_south_central():
    to_grid = pyproj.Transformer.from_crs(4267, 32040, always_xy=True)
    assert to_grid.transform(-96.0, 28.5) == pytest.approx((2963503.91, 254759.80), abs=0.02)


def test_lambert_conic_in_metres_and_in_international_feet():
    assert pyproj.Proj(LAMBERT)(-96.0, 28.5) == pytest.approx((903277.7992, 77650.9425), abs=0.001)
    found = feet_between(LAMBERT, -96.0, 28.5, FOOT)
    assert found == pytest.approx((2963509.8398, 254760.3102), abs=0.001)


def test_lambert_conic_has_its_scale_and_convergence():
    factors = pyproj.Proj(LAMBERT).get_factors(-96.0, 28.5)
    assert factors.meridional_scale == pytest.approx(0.99996856, abs=1e-8)
    assert factors.meridian_convergence == pytest.approx(1.469738, abs=1e-6)


def test_transverse_mercator_gives_the_published_metres():
    # The published series and PROJ's differ by 6 to 8 mm here; do not tighten.
    assert pyproj.Proj(MERCATOR)(0.5, 50.5) == pytest.approx((577274.99, 69740.50), abs=0.02)
    to_grid = pyproj.Transformer.from_crs(4277, 27700, always_xy=True)
    assert to_grid.transform(0.5, 50.5) == pytest.approx((577274.99, 69740.50), abs=0.02)


def test_the_two_feet_are_exactly_what_the_standard_says():
    # NIST SP 811: US survey foot 1200/3937 m, international foot 0.3048 m.
    assert si_per("ft_us") == pytest.approx(float(US_FOOT), rel=1e-15)
    assert si_per("ft") == pytest.approx(float(FOOT), rel=1e-15)
    assert Fraction(500_000, 499_999) == US_FOOT / FOOT


@pytest.mark.parametrize(("feet", "apart"), [(2_000_000, 4.000008), (6_000_000, 12.000024)])
def test_confusing_the_two_feet_moves_a_point_by_feet(feet, apart):
    assert float(feet * (US_FOOT / FOOT - 1)) == pytest.approx(apart, abs=1e-5)


@pytest.mark.parametrize(
    ("epsg", "metres"),
    [(26910, 1), (26945, 1), (2229, US_FOOT), (2222, FOOT), (27700, 1)],
)
def test_the_coordinate_system_says_which_unit_it_is_in(epsg, metres):
    factors = [axis.unit_conversion_factor for axis in pyproj.CRS.from_epsg(epsg).axis_info]
    assert factors == pytest.approx([float(metres)] * 2, rel=1e-12)


def test_a_zone_in_metres_and_the_same_in_feet_agree():
    # NAD83 34.05 N 118.25 W (computed with PROJ).
    in_metres = pyproj.Transformer.from_crs(4269, 26945, always_xy=True).transform(-118.25, 34.05)
    in_feet = pyproj.Transformer.from_crs(4269, 2229, always_xy=True).transform(-118.25, 34.05)
    assert in_metres == pytest.approx((1976917.4507, 561038.0445), abs=0.001)
    assert in_feet == pytest.approx((6485936.6698, 1840672.3179), abs=0.001)
    ratios = [metre / foot for metre, foot in zip(in_metres, in_feet, strict=True)]
    # The zone in feet has its false northing rounded to 0.001 ft, which is 0.1 mm off.
    assert ratios == pytest.approx([float(US_FOOT)] * 2, rel=5e-10)


def test_grid_distance_differs_from_the_ellipsoids_by_the_scale():
    # 34.05 N, 118.25 W to 118.24 W on GRS80 (computed with PROJ).
    ground = pyproj.Geod(ellps="GRS80").inv(-118.25, 34.05, -118.24, 34.05)[2]
    to_grid = pyproj.Transformer.from_crs(4269, 26945, always_xy=True)
    (x1, x2), (y1, y2) = to_grid.transform([-118.25, -118.24], [34.05, 34.05])
    grid = ((x2 - x1) ** 2 + (y2 - y1) ** 2) ** 0.5
    assert ground == pytest.approx(923.3062, abs=0.001)
    assert grid == pytest.approx(923.3029, abs=0.001)
    assert grid / ground == pytest.approx(0.99999643, abs=1e-7)
