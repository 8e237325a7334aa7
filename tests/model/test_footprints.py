"""Spans and units in plan: shared bents, widening, skew, hinges, and decks that collide."""

import math

import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from model.alignment import Alignment, Element
from model.footprints import (
    bent_problems,
    edge_stations,
    overlap_problems,
    overlaps,
    span_frame,
    unit_frame,
)

CRS = "EPSG:26910"
US_FOOT = 1200 / 3937
STRAIGHT = (Element("tangent", 2000.0),)


def a_line(*elements, key="main", azimuth=90.0, east=0.0, north=0.0):
    return Alignment(key, 0.0, east, north, azimuth, elements or STRAIGHT)


def bents_at(*stations, structure="E", kinds=None, skew=0.0, left=6.0, right=-6.0):
    """Bents named 1, 2, ...; ``kinds`` marks hinges by "h"."""
    marks = kinds or "b" * len(stations)
    return pd.DataFrame(
        {
            "structure": structure,
            "bent": [str(number) for number in range(1, len(stations) + 1)],
            "station_m": np.array(stations, dtype=float),
            "kind": ["hinge" if mark == "h" else "bent" for mark in marks],
            "skew_deg": skew,
            "left_m": left,
            "right_m": right,
        }
    )


def units_between(*pairs, structure="E", prefix="E"):
    begin, end = zip(*pairs, strict=True)
    return pd.DataFrame(
        {
            "unit": [f"{prefix}{number}" for number in range(1, len(pairs) + 1)],
            "structure": structure,
            "from_bent": [str(bent) for bent in begin],
            "to_bent": [str(bent) for bent in end],
            "heading": "h1",
        }
    )


def spans_of(bents, units, line=None, crs=CRS, metres_per_crs_unit=1.0):
    alignments = {"main": line or a_line()}
    structures = dict.fromkeys(bents["structure"], "main")
    return span_frame(alignments, structures, bents, units, crs, metres_per_crs_unit)


def one_span(line=None, stations=(100.0, 140.0), **bent):
    return spans_of(bents_at(*stations, **bent), units_between((1, 2)), line).geometry.iloc[0]


def true_edge(line, polygon, stations, offset_m):
    """Largest distance of the true edge curve from the outline drawn."""
    points = shapely.points(*line.position(stations, offset_m))
    return shapely.distance(polygon.exterior, points).max()


# Spans and units


def test_the_bents_inside_a_unit_cut_it_into_spans():
    spans = spans_of(bents_at(0, 40, 85, 120, 160), units_between((1, 4), (4, 5)))
    columns = ["unit", "span", "from_bent", "to_bent", "length_m", "area_m2"]
    assert spans[columns].to_numpy().tolist() == [
        ["E1", "1", "1", "2", 40.0, pytest.approx(480.0)],
        ["E1", "2", "2", "3", 45.0, pytest.approx(540.0)],
        ["E1", "3", "3", "4", 35.0, pytest.approx(420.0)],
        ["E2", "1", "4", "5", 40.0, pytest.approx(480.0)],
    ]


def test_spans_keep_the_order_of_units_and_rows_of_bents_may_come_in_any_order():
    bents = bents_at(0, 40, 80, 120).iloc[[2, 0, 3, 1]]
    spans = spans_of(bents, units_between((3, 4), (1, 3)))
    assert spans["unit"].tolist() == ["E1", "E2", "E2"]
    assert spans["from_station_m"].tolist() == [80.0, 0.0, 40.0]


@pytest.mark.parametrize(
    ("stations", "kinds", "expected"),
    [
        # Common practice, no source: the cantilever beyond a bent belongs to the span it is
        # held by, and the long side of the hinge is a span.
        ((0, 8, 48, 88, 120), "hbbbh", [("1", "3"), ("3", "4"), ("4", "5")]),
        ((0, 40, 80, 88), "bbbh", [("1", "2"), ("2", "4")]),
        ((0, 8, 48), "hbh", [("1", "3")]),
        ((0, 8, 48, 56), "hbbh", [("1", "4")]),
        ((0, 8, 48), "bbb", [("1", "2"), ("2", "3")]),
        ((0, 20, 60), "hbb", [("1", "2"), ("2", "3")]),
        # A hinge cuts units, not spans: one inside a unit is passed over.
        ((0, 40, 60, 80), "bbhb", [("1", "2"), ("2", "4")]),
    ],
)
def test_a_short_cantilever_to_a_hinge_belongs_to_the_span_beside_it(stations, kinds, expected):
    bents = bents_at(*stations, kinds=kinds)
    spans = spans_of(bents, units_between((1, len(stations))))
    assert list(zip(spans["from_bent"], spans["to_bent"], strict=True)) == expected
    assert spans["length_m"].sum() == stations[-1]


def test_a_unit_covers_just_its_spans():
    bents = bents_at(0, 40, 80, 120, 170, skew=[0.0, 20.0, -10.0, 5.0, 0.0])
    units = units_between((3, 5), (1, 3))
    spans = spans_of(bents, units)
    found = unit_frame(spans, units)
    assert found["unit"].tolist() == ["E1", "E2"]
    assert found["from_station_m"].tolist() == [80.0, 0.0]
    assert found["to_station_m"].tolist() == [170.0, 80.0]
    assert found["length_m"].tolist() == [90.0, 80.0]
    assert set(found.geom_type) == {"Polygon"}
    np.testing.assert_allclose(found.area, found["area_m2"], rtol=1e-12)
    together = shapely.union_all(spans.geometry.to_numpy())
    assert shapely.union_all(found.geometry.to_numpy()).symmetric_difference(
        together
    ).area == pytest.approx(0.0, abs=1e-9)


def test_each_structure_lies_on_its_own_alignment():
    bents = pd.concat([bents_at(0, 40), bents_at(0, 40, structure="W")], ignore_index=True).sample(
        frac=1.0, random_state=1
    )
    units = pd.concat(
        [units_between((1, 2), structure="W", prefix="W"), units_between((1, 2))],
        ignore_index=True,
    )
    lines = {"main": a_line(), "west": a_line(key="west", north=100.0)}
    spans = span_frame(lines, {"E": "main", "W": "west"}, bents, units, CRS, 1.0)
    assert spans["unit"].tolist() == ["W1", "E1"]
    assert spans.geometry.iloc[0].bounds == pytest.approx((0, 94, 40, 106))
    assert spans.geometry.iloc[1].bounds == pytest.approx((0, -6, 40, 6))


# Shape


def test_a_span_on_a_tangent_has_four_corners():
    square = one_span()
    assert square.equals(shapely.box(100, -6, 140, 6))
    assert len(square.exterior.coords) == 5
    assert square.exterior.is_ccw


def test_a_deck_that_widens_evenly_is_a_trapezium():
    span = one_span(left=[6.0, 9.0], right=[-6.0, -5.0])
    assert span.equals(shapely.Polygon([(100, -6), (140, -5), (140, 9), (100, 6)]))


def test_skew_turns_the_bent_line_clockwise():
    # Looking along the line, the left end of a bent turned clockwise lies further on.
    span = one_span(skew=30.0)
    ahead = 6.0 * math.tan(math.radians(30.0))
    corners = [(100 - ahead, -6), (140 - ahead, -6), (140 + ahead, 6), (100 + ahead, 6)]
    assert shapely.get_coordinates(span)[:4] == pytest.approx(np.array(corners))
    assert span.area == pytest.approx(480.0)


@pytest.mark.parametrize("turn", ["left", "right"])
@pytest.mark.parametrize("skew_deg", [0.0, 35.0, -50.0])
def test_the_ends_of_a_skewed_bent_on_a_curve_lie_on_its_line_and_on_the_deck_edges(turn, skew_deg):
    line = a_line(Element("curve", 300.0, 200.0, 200.0, turn))
    offsets = np.array([[9.0, -7.0]])
    skew = np.radians([[skew_deg]])
    found = edge_stations(line, np.array([[150.0]]), skew, offsets)
    x, y = line.position(found, offsets)
    x0, y0 = line.position(150.0)
    along = line.heading_rad(150.0) + np.pi / 2 - skew
    off_the_line = (x - x0) * np.sin(along) - (y - y0) * np.cos(along)
    assert off_the_line == pytest.approx(np.zeros((1, 2)), abs=1e-9)
    assert line.locate(x, y)[1] == pytest.approx(offsets, abs=1e-9)


def test_a_curved_deck_has_radius_times_angle_times_width():
    # R 1000 ft, 18.6 degrees, 40 ft wide, line in the middle: 12985.2496 ft2 (closed form).
    foot = 0.3048
    arc = 1000 * foot * math.radians(18.6)
    line = a_line(Element("curve", arc, 1000 * foot, 1000 * foot, "right"))
    whole = one_span(line, (0.0, arc), left=20 * foot, right=-20 * foot)
    in_feet = whole.area / foot**2
    # Both edges are chords: each loses two thirds of its middle ordinate, one of them inside.
    ordinate_ft = 0.02 / foot
    assert in_feet == pytest.approx(12985.2496, abs=2 / 3 * ordinate_ft * arc / foot)
    assert in_feet == pytest.approx(12985.2496, rel=1e-4)


@given(
    radius=st.floats(60, 3000),
    length=st.floats(10, 80),
    turn=st.sampled_from(["left", "right"]),
    left=st.floats(4, 20),
)
def test_drawn_edges_stay_within_two_centimetres_of_the_curve(radius, length, turn, left):
    line = a_line(Element("curve", 100.0, radius, radius, turn))
    span = one_span(line, (5.0, 5.0 + length), left=left, right=-6.0)
    stations = np.linspace(5.0, 5.0 + length, 401)
    assert true_edge(line, span, stations, left) < 0.02
    assert true_edge(line, span, stations, -6.0) < 0.02


@given(
    widening=st.floats(-5, 5), radius=st.floats(60, 3000), turn=st.sampled_from(["left", "right"])
)
def test_drawn_edges_stay_within_two_centimetres_where_the_deck_widens_on_a_spiral(
    widening, radius, turn
):
    line = a_line(Element("spiral", 100.0, math.inf, radius, turn))
    span = one_span(line, (40.0, 90.0), left=[8.0, 8.0 + widening], right=-6.0)
    share = np.linspace(0, 1, 401)
    assert true_edge(line, span, 40 + 50 * share, 8 + widening * share) < 0.02


@given(radius=st.floats(60, 3000), width=st.floats(8, 30), length=st.floats(10, 90))
def test_the_area_of_a_curved_span_is_its_length_on_the_middle_times_its_width(
    radius, width, length
):
    line = a_line(Element("curve", 100.0, radius, radius, "left"))
    span = one_span(line, (5.0, 5.0 + length), left=width / 2, right=-width / 2)
    edges = length * (1 + width / 2 / radius)
    assert span.area == pytest.approx(length * width, abs=2 / 3 * 0.02 * edges)


# Neighbours


@st.composite
def jobs(draw):
    """A line that bends, and a run of skewed bents with a width of their own."""
    radius = draw(st.floats(150, 3000))
    turn = draw(st.sampled_from(["left", "right"]))
    line = a_line(
        Element("tangent", 60.0),
        Element("spiral", 80.0, math.inf, radius, turn),
        Element("curve", 200.0, radius, radius, turn),
        Element("spiral", 80.0, radius, math.inf, turn),
        Element("tangent", 60.0),
        azimuth=draw(st.floats(0, 360)),
        east=550_000.0,
        north=4_180_000.0,
    )
    count = draw(st.integers(3, 8))
    lengths = draw(st.lists(st.floats(28, 58), min_size=count - 1, max_size=count - 1))

    def column(strategy):
        return np.array(draw(st.lists(strategy, min_size=count, max_size=count)))

    bents = bents_at(
        *np.cumsum([15.0, *lengths]),
        skew=column(st.floats(-25, 25)),
        left=column(st.floats(4, 14)),
        right=column(st.floats(-14, -4)),
    )
    middle = draw(st.integers(2, count - 1))
    return line, bents, units_between((1, middle), (middle, count))


@given(jobs())
@settings(max_examples=60)
def test_neighbours_share_their_bent_to_the_last_bit_and_never_overlap(job):
    line, bents, units = job
    spans = spans_of(bents, units, line)
    assert shapely.is_valid(spans.geometry.to_numpy()).all()
    assert overlap_problems(spans) == []
    for one, other in zip(spans.geometry[:-1], spans.geometry[1:], strict=True):
        shared = set(one.exterior.coords) & set(other.exterior.coords)
        assert len(shared) == 2
        assert one.intersection(other).area == pytest.approx(0.0, abs=1e-6)
    whole = shapely.union_all(spans.geometry.to_numpy())
    assert whole.geom_type == "Polygon"
    assert len(whole.interiors) == 0
    assert whole.area == pytest.approx(spans["area_m2"].sum(), rel=1e-9)


def test_two_units_given_the_same_bents_lie_over_one_another():
    spans = spans_of(bents_at(0, 40, 80), units_between((1, 3), (2, 3)))
    (problem,) = overlap_problems(spans, rows={("E", "2"): 3})
    assert "Units E1 and E2" in problem.message
    assert "480.0 m²" in problem.message
    assert (problem.file, problem.row, problem.severity) == ("bents.csv", 3, "error")


def test_one_structure_crossing_another_is_named_with_both_units():
    bents = pd.concat([bents_at(0, 40), bents_at(0, 40, structure="W")], ignore_index=True)
    units = pd.concat(
        [units_between((1, 2)), units_between((1, 2), structure="W", prefix="W")],
        ignore_index=True,
    )
    lines = {"main": a_line(), "west": a_line(key="west", azimuth=0.0, east=20.0, north=-20.0)}
    spans = span_frame(lines, {"E": "main", "W": "west"}, bents, units, CRS, 1.0)
    (problem,) = overlap_problems(spans)
    assert "Units E1 and W1 lie over one another on 144.0 m²" in problem.message


def test_twin_decks_side_by_side_do_not_collide():
    bents = pd.concat(
        [bents_at(0, 40), bents_at(0, 40, structure="W", left=18.0, right=6.0)],
        ignore_index=True,
    )
    units = pd.concat(
        [units_between((1, 2)), units_between((1, 2), structure="W", prefix="W")],
        ignore_index=True,
    )
    assert overlap_problems(spans_of(bents, units)) == []


def test_bents_whose_lines_meet_on_the_deck_fold_the_span():
    spans = spans_of(bents_at(0, 5, skew=[45.0, -45.0]), units_between((1, 2)))
    (problem,) = overlap_problems(spans, rows={("E", "1"): 2})
    assert problem.message == "The outline of unit E1, span 1 crosses itself."
    assert (problem.row, problem.field) == (2, "skew_deg")


def test_a_sliver_of_digitising_is_no_overlap_but_a_strip_is():
    spans = spans_of(bents_at(0, 40, 80), units_between((1, 2), (2, 3)))
    moved = spans.copy()
    moved.loc[1, "geometry"] = shapely.transform(spans.geometry[1], lambda xy: xy - [0.02, 0])
    assert overlaps(moved).empty
    moved.loc[1, "geometry"] = shapely.transform(spans.geometry[1], lambda xy: xy - [0.05, 0])
    assert overlaps(moved)["area_m2"].tolist() == [pytest.approx(0.6)]


# Coordinate systems and feet


def test_a_job_in_feet_has_its_corners_in_feet_and_its_lengths_in_metres():
    bents = bents_at(0, 40)
    units = units_between((1, 2))
    line = a_line(east=6_000_000 * US_FOOT, north=1_800_000 * US_FOOT)
    spans = spans_of(bents, units, line, "EPSG:2229", US_FOOT)
    assert spans.crs.to_epsg() == 2229
    assert spans.total_bounds[0] == pytest.approx(6_000_000, abs=1e-6)
    assert spans.total_bounds[2] == pytest.approx(6_000_000 + 40 / US_FOOT, abs=1e-6)
    assert spans["length_m"].tolist() == [40.0]
    assert spans["area_m2"].tolist() == [pytest.approx(480.0)]
    assert spans.area.tolist() == [pytest.approx(480.0 / US_FOOT**2)]


@pytest.mark.parametrize(("crs", "metres"), [("EPSG:2229", 0.3048), (CRS, US_FOOT)])
def test_the_wrong_foot_is_refused(crs, metres):
    with pytest.raises(ValueError, match="unit of EPSG"):
        spans_of(bents_at(0, 40), units_between((1, 2)), None, crs, metres)


# Bad input


def test_units_must_name_bents_that_exist_in_rising_order():
    bents = bents_at(0, 40, 80)
    with pytest.raises(ValueError, match=r"to_bent is no bent.*E1 \(E 9\)"):
        spans_of(bents, units_between((1, 9)))
    with pytest.raises(ValueError, match="E2"):
        spans_of(bents, units_between((1, 3), (3, 2)))


def test_a_bent_given_twice_is_refused():
    bents = pd.concat([bents_at(0, 40), bents_at(0, 40).tail(1)], ignore_index=True)
    with pytest.raises(ValueError, match="given twice: E 2"):
        spans_of(bents, units_between((1, 2)))


def test_a_structure_without_alignment_is_refused():
    with pytest.raises(ValueError, match="not given: E"):
        span_frame({"main": a_line()}, {}, bents_at(0, 40), units_between((1, 2)), CRS, 1.0)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"station_m": 301.0}, "station"),
        ({"station_m": -0.5}, "station"),
        ({"station_m": math.nan}, "station"),
        ({"left_m": -6.0}, "left_offset"),
        ({"left_m": 55.0}, "left_offset"),
        ({"skew_deg": 80.0}, "skew_deg"),
        ({"skew_deg": math.nan}, "skew_deg"),
    ],
)
def test_a_bent_that_cannot_be_drawn_is_named_with_its_row_and_field(change, field):
    line = a_line(Element("curve", 300.0, 50.0, 50.0, "left"))
    bents = bents_at(0, 40, 80)
    assert bent_problems({"main": line}, {"E": "main"}, bents) == []
    for column, value in change.items():
        bents.loc[1, column] = value
    (problem,) = bent_problems({"main": line}, {"E": "main"}, bents, rows={("E", "2"): 3})
    assert (problem.file, problem.row, problem.field) == ("bents.csv", 3, field)
    assert problem.message.startswith("Bent 2 of structure E")
