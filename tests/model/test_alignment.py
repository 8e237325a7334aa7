"""The alignment against handbook curve elements, Fresnel integrals and a published line."""

import math
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import fresnel

from model.alignment import Alignment, Element, element_problems, joint_problems

LANDXML = Path(__file__).parents[1] / "data" / "landxml" / "station_line.xml"
EAST = 90.0


def line(*elements, start=0.0, east=0.0, north=0.0, azimuth=EAST):
    return Alignment("main", start, east, north, azimuth, elements)


def tangent(length):
    return Element("tangent", length)


def curve(length, radius, turn="left"):
    return Element("curve", length, radius, radius, turn)


def spiral(length, radius_in, radius_out, turn="left"):
    return Element("spiral", length, radius_in, radius_out, turn)


def spiral_curve_spiral():
    """R 1000, L 300, 40 degrees to the left, from the origin along x."""
    arc = 1000.0 * (math.radians(40.0) - 2 * math.radians(8.594366926962348))
    return line(spiral(300, math.inf, 1000), curve(arc, 1000), spiral(300, 1000, math.inf))


def meeting_of_tangents(alignment, first, second):
    """Where the tangents at two stations meet: distance from each, and the point."""
    (x1, x2), (y1, y2) = alignment.position([first, second])
    h1, h2 = alignment.heading_rad([first, second])
    turned = math.sin(h2 - h1)
    from_first = ((x2 - x1) * math.sin(h2) - (y2 - y1) * math.cos(h2)) / turned
    from_second = ((x2 - x1) * math.sin(h1) - (y2 - y1) * math.cos(h1)) / turned
    point = (x1 + from_first * math.cos(h1), y1 + from_first * math.sin(h1))
    return from_first, -from_second, point


# Circular curves: T, L, E, M, C as route-surveying handbooks define them (the definitions are
# from memory; the numbers follow from R and the deflection in closed form).
@pytest.mark.parametrize(
    ("radius", "deflection_deg", "t", "length", "e", "m", "c"),
    [
        (1000.0, 40.0, 363.9702, 698.1317, 64.1778, 60.3074, 684.0403),
        (18000 / math.pi / 6, 35.0, 301.0882, 583.3333, 46.3419, 44.1971, 574.3058),
        (18000 / math.pi / 2, 18.5, 466.5605, 925.0000, 37.7435, 37.2527, 920.9871),
        (1200.0, 25.5, 271.5323, 534.0708, 30.3373, 29.5892, 529.6738),
    ],
)
@pytest.mark.parametrize("turn", ["left", "right"])
def test_a_circular_curve_has_the_handbooks_elements(
    radius, deflection_deg, t, length, e, m, c, turn
):
    arc = radius * math.radians(deflection_deg)
    bend = line(curve(arc, radius, turn), azimuth=20.0)
    (x1, xm, x2), (y1, ym, y2) = bend.position([0.0, arc / 2, arc])
    back, ahead, (xi, yi) = meeting_of_tangents(bend, 0.0, arc)
    found = {
        "T": back,
        "T ahead": ahead,
        "L": bend.length_m,
        "E": math.hypot(xi - xm, yi - ym),
        "M": math.hypot((x1 + x2) / 2 - xm, (y1 + y2) / 2 - ym),
        "C": math.hypot(x2 - x1, y2 - y1),
    }
    expected = {"T": t, "T ahead": t, "L": length, "E": e, "M": m, "C": c}
    assert found == pytest.approx(expected, abs=0.001)


def test_the_curve_ends_at_its_arc_length_and_not_at_twice_the_tangent():
    # PI 25+00, D 6 degrees, 35 degrees: PC 21+98.912, PT 27+82.245 (closed form).
    radius, deflection = 18000 / math.pi / 6, math.radians(35.0)
    pc = 2500.0 - radius * math.tan(deflection / 2)
    bend = line(curve(radius * deflection, radius), start=pc)
    assert bend.start_station_m == pytest.approx(2198.912, abs=0.001)
    assert bend.end_station_m == pytest.approx(2782.245, abs=0.001)


def test_a_hundred_feet_of_a_six_degree_curve_has_its_handbook_chord_and_deflection():
    # Chord 99.9543, deflection 3 degrees (closed form).
    x, y = line(curve(100.0, 18000 / math.pi / 6)).position(100.0)
    assert math.hypot(x, y) == pytest.approx(99.9543, abs=1e-4)
    assert math.degrees(math.atan2(y, x)) == pytest.approx(3.0, abs=1e-9)


# Clothoid coordinates: worked with scipy.special.fresnel, and with scipy.integrate.quad to 1e-13.
@pytest.mark.parametrize(
    ("radius", "length", "s", "x", "y", "angle_deg"),
    [
        (300, 80, 20, 19.999861, 0.055555, 0.477465),
        (300, 80, 40, 39.995556, 0.444409, 1.909859),
        (300, 80, 80, 79.857895, 3.551043, 7.639437),
        (1000, 300, 75, 74.999341, 0.234374, 0.537148),
        (1000, 300, 150, 149.978908, 1.874812, 2.148592),
        (1000, 300, 300, 299.325703, 14.975910, 8.594367),
        (954.92966, 250, 250, 249.571971, 10.894964, 7.5),
    ],
)
def test_a_clothoid_passes_through_its_tabled_points(radius, length, s, x, y, angle_deg):
    easing = line(spiral(length, math.inf, radius))
    assert easing.position(s) == pytest.approx((x, y), abs=1e-5)
    assert math.degrees(easing.heading_rad(s)) == pytest.approx(angle_deg, abs=1e-5)


@given(radius=st.floats(30, 5000), length=st.floats(10, 600), share=st.floats(0, 1))
def test_a_clothoid_agrees_with_the_fresnel_integrals(radius, length, share):
    s, scale = share * length, math.sqrt(math.pi * radius * length)
    sine, cosine = fresnel(s / scale)
    found = line(spiral(length, math.inf, radius)).position(s)
    assert found == pytest.approx((scale * cosine, scale * sine), abs=1e-9)


@given(
    radius_in=st.floats(200, 5000),
    radius_out=st.floats(200, 5000).filter(lambda r: r > 0),
    length=st.floats(10, 600),
)
@settings(max_examples=40)
def test_a_spiral_between_two_radii_agrees_with_adaptive_quadrature(radius_in, radius_out, length):
    if math.isclose(radius_in, radius_out, rel_tol=1e-6):
        radius_out *= 1.001
    change = (1 / radius_out - 1 / radius_in) / length

    def heading(u):
        return u / radius_in + change * u * u / 2

    x = quad(lambda u: math.cos(heading(u)), 0, length, epsabs=1e-11, limit=200)[0]
    y = quad(lambda u: math.sin(heading(u)), 0, length, epsabs=1e-11, limit=200)[0]
    found = line(spiral(length, radius_in, radius_out)).position(length)
    assert found == pytest.approx((x, y), abs=1e-8)


def test_a_spiral_between_two_radii_is_the_far_half_of_one_from_straight():
    whole = line(spiral(300, math.inf, 500, "right"))
    x, y = whole.position(150.0)
    rest = line(
        spiral(150, 1000, 500, "right"),
        east=float(x),
        north=float(y),
        azimuth=90 - math.degrees(whole.heading_rad(150.0)),
    )
    stations = np.linspace(0, 150, 31)
    np.testing.assert_allclose(rest.position(stations), whole.position(150 + stations), atol=1e-9)


def test_a_spiral_may_wind_round_more_than_once_without_losing_precision():
    radius, length = 20.0, 400.0  # turns 10 radians
    scale = math.sqrt(math.pi * radius * length)
    sine, cosine = fresnel(length / scale)
    found = line(spiral(length, math.inf, radius)).position(length)
    assert found == pytest.approx((scale * cosine, scale * sine), abs=1e-9)


# Spiral, curve, spiral with R 1000, L 300 and 40 degrees: closed form, and closure checked by
# integrating the heading to 1e-9. The names of its parts are the handbooks' (from memory).
def test_spiral_curve_spiral_has_its_handbook_parts():
    bend = spiral_curve_spiral()
    theta = float(bend.heading_rad(300.0))
    x, y = bend.position(300.0)
    ts, _, (xi, yi) = meeting_of_tangents(bend, 0.0, bend.length_m)
    xm, ym = bend.position(bend.length_m / 2)
    long_tangent, short_tangent, _ = meeting_of_tangents(bend, 0.0, 300.0)
    found = {
        "shift": y - 1000 * (1 - math.cos(theta)),
        "k": x - 1000 * math.sin(theta),
        "Ts": ts,
        "Es": math.hypot(xi - xm, yi - ym),
        "total": bend.length_m,
        "long tangent": long_tangent,
        "short tangent": short_tangent,
        "long chord": math.hypot(x, y),
        "deflection": math.degrees(bend.heading_rad(bend.length_m)),
    }
    expected = {
        "shift": 3.746988,
        "k": 149.887570,
        "Ts": 515.221597,
        "Es": 68.165234,
        "total": 998.131701,
        "long tangent": 200.236223,
        "short tangent": 100.214784,
        "long chord": 299.700107,
        "deflection": 40.0,
    }
    assert found == pytest.approx(expected, abs=2e-6)
    assert bend.position(bend.end_station_m) == pytest.approx((909.904238, 331.178058), abs=2e-6)


@pytest.mark.parametrize(
    ("station", "offset", "x", "y", "heading_deg"),
    [
        (150, -40, 151.478556, -38.097067, 2.148592),
        (450, +25, 438.019772, 72.293911, 17.188734),
        (900, -30, 853.307792, 245.216147, 39.080419),
    ],
)
def test_station_and_offset_become_a_point_and_come_back(station, offset, x, y, heading_deg):
    bend = spiral_curve_spiral()
    point = bend.position(station, offset)
    assert point == pytest.approx((x, y), abs=2e-6)
    assert math.degrees(bend.heading_rad(station)) == pytest.approx(heading_deg, abs=1e-6)
    assert bend.locate(*point) == pytest.approx((station, offset), abs=1e-6)


def published_line():
    """Elements of the published alignment, and its element ends as easting, northing."""
    root = ElementTree.parse(LANDXML).getroot()
    found = root.find(".//{*}CoordGeom")
    assert found is not None
    elements, starts, ends = [], [], []
    for node in found:
        turn = {"ccw": "left", "cw": "right", None: ""}[node.get("rot")]
        kind = {"Line": "tangent", "Curve": "curve", "Spiral": "spiral"}[node.tag.split("}")[1]]
        both = node.get("radius", "inf")
        radii = (float(node.get(name, both)) for name in ("radiusStart", "radiusEnd"))
        elements.append(Element(kind, float(node.get("length")), *radii, turn))
        for name, points in (("Start", starts), ("End", ends)):
            north, east, _ = map(float, node.find("{*}" + name).text.split())
            points.append((east, north))
    return elements, np.array(starts), np.array(ends)


def test_a_published_railway_line_is_followed_to_every_element_end():
    # buildingSMART IFC 4.x implementers' forum, test STN01 (tests/data/landxml/README.md).
    elements, starts, ends = published_line()
    east, north = ends[0] - starts[0]
    track = line(
        *elements,
        start=-153.1,
        east=starts[0, 0],
        north=starts[0, 1],
        azimuth=math.degrees(math.atan2(east, north)),
    )
    stations = -153.1 + np.cumsum([element.length_m for element in elements])
    assert {element.kind for element in elements} == {"tangent", "curve", "spiral"}
    np.testing.assert_allclose(np.stack(track.position(stations), axis=1), ends, atol=1e-6)
    assert track.end_station_m == pytest.approx(876.27207127252188, abs=1e-6)
    assert joint_problems(track) == []


radii = st.floats(120, 4000)
lengths = st.floats(20, 400)
turns = st.sampled_from(["left", "right"])
elements = st.one_of(
    st.builds(tangent, lengths),
    st.builds(curve, st.floats(20, 150), radii, turns),
    st.builds(
        lambda length, r, t: spiral(length, math.inf, r, t), st.floats(20, 150), radii, turns
    ),
    st.builds(lambda length, r, t: spiral(length, r, 1.5 * r, t), st.floats(20, 150), radii, turns),
)
lines = st.builds(
    lambda parts, azimuth: line(
        *parts, start=1000.0, east=550_000.0, north=4_180_000.0, azimuth=azimuth
    ),
    st.lists(elements, min_size=1, max_size=3),
    st.floats(0, 360),
)


@given(alignment=lines, shares=st.lists(st.floats(0, 1), min_size=1, max_size=20), data=st.data())
def test_station_to_point_and_back_is_the_same_station(alignment, shares, data):
    stations = alignment.start_station_m + alignment.length_m * np.array(shares)
    offsets = np.array([data.draw(st.floats(-40, 40)) for _ in shares])
    found_station, found_offset = alignment.locate(*alignment.position(stations, offsets))
    np.testing.assert_allclose(found_station, stations, atol=1e-6)
    np.testing.assert_allclose(found_offset, offsets, atol=1e-6)


@given(alignment=lines)
def test_the_line_has_no_gap_and_no_corner_where_elements_meet(alignment):
    joints = alignment.start_station_m + np.cumsum([e.length_m for e in alignment.elements])[:-1]
    before, after = joints - 1e-7, joints + 1e-7
    np.testing.assert_allclose(alignment.position(before), alignment.position(after), atol=1e-6)
    np.testing.assert_allclose(
        alignment.heading_rad(before), alignment.heading_rad(after), atol=1e-8
    )


@given(alignment=lines, share=st.floats(0.001, 0.999))
def test_the_heading_is_the_direction_in_which_the_line_runs(alignment, share):
    station, step = alignment.start_station_m + share * alignment.length_m, 0.01
    (x1, x2), (y1, y2) = alignment.position([station - step, station + step])
    ran, heading = math.atan2(y2 - y1, x2 - x1), float(alignment.heading_rad(station))
    assert math.cos(ran - heading) == pytest.approx(1.0, abs=1e-7)
    assert math.hypot(x2 - x1, y2 - y1) == pytest.approx(2 * step, abs=1e-7)


@given(alignment=lines, share=st.floats(0, 1), offset=st.floats(-40, 40))
def test_an_offset_is_a_distance_square_to_the_line_and_left_is_positive(alignment, share, offset):
    station = alignment.start_station_m + share * alignment.length_m
    (x1, x2), (y1, y2) = alignment.position([station, station], [0.0, offset])
    heading = alignment.heading_rad(station)
    along = (x2 - x1) * math.cos(heading) + (y2 - y1) * math.sin(heading)
    left = (y2 - y1) * math.cos(heading) - (x2 - x1) * math.sin(heading)
    assert (along, left) == pytest.approx((0.0, offset), abs=1e-8)


def test_azimuth_counts_clockwise_from_north():
    assert line(tangent(10), azimuth=0.0).position(10.0) == pytest.approx((0, 10), abs=1e-12)
    assert line(tangent(10), azimuth=90.0).position(10.0) == pytest.approx((10, 0), abs=1e-12)


def test_beyond_its_ends_the_line_goes_on_straight():
    bend = line(curve(100, 50))
    x, y = bend.position(-5.0, 2.0)
    assert (x, y) == pytest.approx((-5.0, 2.0))
    end = np.array(bend.position(100.0))
    np.testing.assert_allclose(
        np.array(bend.position(107.0)) - end, [7 * math.cos(2.0), 7 * math.sin(2.0)], atol=1e-12
    )


def test_a_point_beyond_the_end_is_located_at_the_end():
    run = line(tangent(100), start=1000.0)
    station, offset = run.locate([-30.0, 50.0, 130.0], [4.0, -4.0, 4.0])
    assert station.tolist() == [1000.0, 1050.0, 1100.0]
    np.testing.assert_allclose(offset, [4.0, -4.0, 4.0])


def test_the_sharpest_curvature_between_stations_is_never_understated():
    bend = spiral_curve_spiral()
    begin = np.array([0.0, 100.0, 290.0, 650.0])
    bound = bend.sharpest_per_m(begin, begin + 50.0)
    within = np.abs(bend.curvature_per_m(begin[:, None] + np.linspace(0, 50, 51))).max(axis=1)
    assert np.all(bound >= within - 1e-12)
    assert line(tangent(100)).sharpest_per_m([10.0], [60.0]).tolist() == [0.0]


def test_any_shape_of_stations_gives_its_own_shape_back():
    bend = spiral_curve_spiral()
    x, y = bend.position(np.zeros((2, 3)), np.zeros(3))
    assert x.shape == y.shape == (2, 3)
    assert bend.locate(x, y)[0].shape == (2, 3)
    assert bend.position([])[0].shape == (0,)
    assert bend.locate([], [])[0].shape == (0,)


@pytest.mark.parametrize(
    ("element", "fields"),
    [
        (tangent(10), []),
        (curve(10, 50), []),
        (spiral(10, 1000, 500), []),
        (Element("tangent", 10, 300, 300), ["radius_in", "radius_out"]),
        (Element("curve", 10, 300, 400, "left"), ["radius_out"]),
        (Element("curve", 10, turn="left"), ["radius_in"]),
        (Element("curve", 10, 300, 300), ["turn"]),
        (Element("spiral", 10, math.inf, 300), ["turn"]),
        (Element("spiral", 10, turn="left"), ["radius_out"]),
        (Element("spiral", 10, 300, 300, "right"), ["radius_out"]),
        (Element("curve", -1, -300, -300, "left"), ["length", "radius_in", "radius_out"]),
        (
            Element("curve", math.nan, 0, math.nan, "up"),
            ["length", "radius_in", "radius_out", "turn"],
        ),
        (Element("bend", 10), ["element"]),
    ],
)
def test_every_fault_of_an_element_is_named_with_its_field(element, fields):
    found = element_problems(element, row=7)
    assert [problem.field for problem in found] == fields
    assert {(p.file, p.row, p.severity) for p in found} <= {("alignment.csv", 7, "error")}
    if fields:
        with pytest.raises(ValueError, match="alignment main: element 1"):
            line(element)


def test_the_turn_of_a_tangent_is_only_warned_of():
    leaning = Element("tangent", 10.0, turn="left")
    assert [p.severity for p in element_problems(leaning)] == ["warning"]
    assert line(leaning).position(10.0) == pytest.approx((10.0, 0.0))


def test_messages_show_the_radius_in_the_files_own_unit():
    foot = 0.3048
    (problem,) = element_problems(
        Element("curve", 100 * foot, 300 * foot, 400 * foot, "left"), metres_per_unit=foot
    )
    assert problem.message == "A curve goes from radius 300 to 400."


def test_an_alignment_needs_an_element():
    with pytest.raises(ValueError, match="no element"):
        line()


def test_a_spiral_that_misses_the_curves_radius_is_warned_of_at_the_curve():
    kinked = line(spiral(50, math.inf, 500), curve(100, 600), spiral(50, 600, math.inf))
    (problem,) = joint_problems(kinked, rows=[2, 3, 4])
    assert (problem.row, problem.field, problem.severity) == (3, "radius_in", "warning")
    assert "ends at radius 500 left" in problem.message
    assert "begins at radius 600 left" in problem.message


def test_a_spiral_into_a_curve_the_other_way_is_warned_of():
    reverse = line(spiral(50, math.inf, 500, "left"), curve(100, 500, "right"))
    assert len(joint_problems(reverse)) == 1


def test_curves_without_spirals_and_compound_curves_are_usual():
    usual = line(tangent(50), curve(100, 600), curve(100, 900), tangent(50))
    assert joint_problems(usual) == []
