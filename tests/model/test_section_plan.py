"""What each activity plans: counted from bents and hinges, computed from the section."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd
import pytest

from model.activities import Activity
from model.alignment import Alignment, Element
from model.footprints import span_frame
from model.section_plan import (
    PLANNED_COLUMNS,
    deck_lengths_m,
    planned_from_section,
    solids_of_spans,
    unplanned,
)
from tests.model.builders import ACTIVITIES
from tests.model.test_section import TWO_CELLS_FT

TANGENT = Alignment("main", 0.0, 500_000.0, 4_000_000.0, 0.0, (Element("tangent", 1000.0),))
CURVE = Alignment(
    "main", 0.0, 500_000.0, 4_000_000.0, 0.0, (Element("curve", 300.0, 200.0, 200.0, "left"),)
)


def bents(*rows, left=6.0, right=-6.0):
    table = pd.DataFrame(rows, columns=["bent", "station_m", "kind"])
    return table.assign(structure="E", skew_deg=0.0, left_m=left, right_m=right)


def units(*rows):
    table = pd.DataFrame(rows, columns=["unit", "from_bent", "to_bent"])
    return table.assign(structure="E", heading="east")


def spans_of(bent_table, unit_table, line=TANGENT):
    return span_frame({"main": line}, {"E": "main"}, bent_table, unit_table, 26910, 1.0)


TWO_UNITS = bents(
    ("A1", 100.0, "abutment"), ("B2", 140.0, "bent"), ("B3", 180.0, "bent"), ("H1", 188.0, "hinge"),
    ("B4", 220.0, "bent"), ("A5", 260.0, "abutment"),
)  # fmt: skip


def test_caps_diaphragms_and_flares_are_counted_along_the_structure():
    spans = spans_of(TWO_UNITS, units(("E01", "A1", "H1"), ("E02", "H1", "A5")))
    assert list(zip(spans["from_bent"], spans["to_bent"], strict=True)) == [
        ("A1", "B2"), ("B2", "H1"), ("H1", "B4"), ("B4", "A5"),
    ]  # fmt: skip
    solids = solids_of_spans(spans, TWO_UNITS)
    # B2 is shared by two spans, B3 lies inside the span that holds the cantilever.
    assert solids.caps.tolist() == [0.5, 1.5, 0.5, 0.5]
    assert solids.flares.tolist() == [1.0, 3.0, 1.0, 1.0]
    assert solids.hinge_diaphragms.tolist() == [0.0, 1.0, 1.0, 0.0]
    assert solids.abutment_diaphragms.tolist() == [1.0, 0.0, 0.0, 1.0]


def test_every_cap_is_counted_once_whatever_the_units():
    for table in (
        units(("E01", "A1", "A5")),
        units(("E01", "A1", "H1"), ("E02", "H1", "A5")),
        units(("E01", "A1", "B2"), ("E02", "B2", "A5")),
        units(("E01", "A1", "B2"), ("E02", "B2", "B3"), ("E03", "B3", "A5")),
    ):
        assert solids_of_spans(spans_of(TWO_UNITS, table), TWO_UNITS).caps.sum() == 3.0


def test_ready_made_footprints_have_bents_between_the_spans_of_a_unit():
    spans = pd.DataFrame({"unit": ["E01", "E01", "E01", "E02"]})
    solids = solids_of_spans(spans, None)
    assert solids.caps.tolist() == [0.5, 1.0, 0.5, 0.0]
    assert solids.hinge_diaphragms.tolist() == [1.0, 0.0, 1.0, 2.0]


def test_on_a_curve_the_deck_is_as_long_as_its_own_middle():
    """Outside a left curve of 200 m by 20 m the middle of the deck has radius 220 m."""
    table = bents(("A1", 0.0, "abutment"), ("A2", 100.0, "abutment"), left=-14.0, right=-26.0)
    spans = spans_of(table, units(("E01", "A1", "A2")), CURVE)
    assert deck_lengths_m(spans, table)[0] == pytest.approx(100.0 * 220.0 / 200.0, rel=1e-4)
    assert deck_lengths_m(spans, None)[0] == 100.0


def test_on_a_tangent_a_widening_deck_is_as_long_as_the_line():
    table = bents(("A1", 0.0, "abutment"), ("B2", 40.0, "bent"), ("A3", 80.0, "abutment"),
                  left=[6.0, 7.0, 9.0])  # fmt: skip
    spans = spans_of(table, units(("E01", "A1", "A3")))
    assert deck_lengths_m(spans, table) == pytest.approx([40.0, 40.0])


def plan(activities, **change):
    spans = spans_of(TWO_UNITS, units(("E01", "A1", "H1"), ("E02", "H1", "A5")))
    section = dataclasses.replace(TWO_CELLS_FT, deck_steel_kg_per_m3=150.0, **change)
    solids = solids_of_spans(spans, TWO_UNITS)
    lengths = deck_lengths_m(spans, TWO_UNITS)
    return planned_from_section(spans, lengths, solids, {"E01": section}, activities)


def test_a_unit_has_the_sum_of_its_spans_and_one_without_a_section_has_nothing():
    by_unit = plan([Activity("deck_pour", "Deck pour", measure="concrete")])
    by_span = plan([Activity("deck_pour", "Deck pour", grain="span", measure="concrete")])
    assert list(by_unit.columns) == list(by_span.columns) == list(PLANNED_COLUMNS)
    assert by_unit[["unit", "span"]].to_numpy().tolist() == [["E01", ""]]
    assert by_span[["unit", "span"]].to_numpy().tolist() == [["E01", "1"], ["E01", "2"]]
    assert by_unit["planned_si"].sum() == pytest.approx(by_span["planned_si"].sum())
    assert by_unit["planned_si"][0] == pytest.approx(
        float(TWO_CELLS_FT.deck_m2(12.0)) * 88.0, rel=1e-9
    )
    assert set(by_unit["planned_from"]) == {"section"}


def test_lumber_goes_by_deck_area():
    forms = plan([Activity("deck_forms", "Deck forms", measure="lumber")])
    assert forms["planned_si"][0] == pytest.approx(88.0 * 12.0 * TWO_CELLS_FT.lumber_m)


def test_what_no_section_gives_is_told_apart_from_what_measures_nothing():
    odd = Activity("barrier", "Barrier", measure="concrete")
    idle = Activity("survey", "Survey")
    assert unplanned([*ACTIVITIES, odd, idle]) == (odd,)
    assert plan([odd, idle]).empty


def test_ten_thousand_spans_are_planned_as_arrays():
    """Nothing here walks span by span: twice the spans is no more work for Python."""
    count = 10_000
    spans = pd.DataFrame(
        {"unit": "E01", "span": [str(n) for n in range(count)], "length_m": 40.0, "area_m2": 480.0}
    )
    solids = solids_of_spans(spans, None)
    activity = Activity("deck_pour", "Deck pour", measure="concrete")
    planned = planned_from_section(
        spans, np.full(count, 40.0), solids, {"E01": TWO_CELLS_FT}, [activity]
    )
    assert planned["planned_si"][0] == pytest.approx(float(TWO_CELLS_FT.deck_m2(12.0)) * 40 * count)
