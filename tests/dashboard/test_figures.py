"""Charts from answers: what is drawn, where, and never by colour alone."""

import datetime as dt
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest

from dashboard.figures.backtest_chart import backtest_chart
from dashboard.figures.chart_frame import (
    ALARM,
    BAND,
    DAY_MS,
    LIKELY_LINE,
    PLACED,
    PLAN_LINE,
)
from dashboard.figures.control_charts import control_chart_figure
from dashboard.figures.quantity_curves import quantity_chart
from dashboard.figures.time_station import Seen, time_station_chart
from dashboard.figures.time_station_words import legend_entries
from dashboard.figures.whatif_chart import whatif_chart
from dashboard.parts.crew_looks import CREW_LOOKS
from dashboard.parts.palette import GROUND
from model.backtest import Backtest
from model.curves import QuantityCurve
from model.cycle import PaceShift, control_chart
from model.cycle_chart import CycleChart
from model.projection import Band
from model.whatif import AS_IT_IS, Case, WhatIf
from tests.dashboard.test_palette import contrast, difference, seen_by

NAMES = {"falsework": "Falsework", "rebar": "Rebar"}
TODAY = np.datetime64("2026-03-20")
NEVER = pd.NaT


def a_cell(unit="E01", activity="rebar", at=0, **more):
    """One unit and activity, 100 ft long, not begun unless said otherwise."""
    cell = {
        "heading": "h1", "structure": "E", "place": at, "unit": unit, "activity": activity,
        "from_station": 1000.0 + 100 * at, "to_station": 1100.0 + 100 * at,
        "status": "not_started", "percent": 0.0, "started": NEVER, "finished": NEVER,
        "p10": "2026-04-01", "p50": "2026-04-05", "p80": "2026-04-08", "p90": "2026-04-10",
        "baseline": "2026-03-25", "idle_days": np.nan, "idle_from": NEVER, "overtakes": "",
    }  # fmt: skip
    if more.get("status") == "complete":
        cell |= dict.fromkeys(("p10", "p50", "p80", "p90"), NEVER)
    return cell | more


def complete(unit="E01", at=0, **more):
    dates = {"started": "2026-03-02", "finished": "2026-03-04"} | more
    return a_cell(unit, at=at, status="complete", percent=100.0, **dates)


def drawn(*cells, focus="rebar", unit="", lagging=(), narrow=False):
    frame = pd.DataFrame(list(cells))
    for name in ("started", "finished", "p10", "p50", "p80", "p90", "baseline", "idle_from"):
        frame[name] = pd.to_datetime(frame[name])
    return time_station_chart(
        frame, NAMES, Seen(focus, unit, lagging, narrow), as_of=TODAY, length_unit="ft",
        structure_names={"E": "Eastbound", "W": "Westbound"},
    )  # fmt: skip


def boxes(figure):
    """Every box as (unit, first day, day after the last, trace)."""
    found = []
    for trace in figure.select_traces({"type": "bar"}):
        for base, length, (unit, _) in zip(trace.base, trace.y, trace.customdata, strict=True):
            first = np.datetime64(base, "D")
            found.append((unit, first, first + int(length / DAY_MS), trace))
    return found


def words_on(figure):
    return " | ".join(note.text for note in figure.layout.annotations)


# Time and station


def test_work_is_drawn_from_the_morning_it_began_to_the_evening_it_was_finished():
    [(unit, first, after, trace)] = boxes(drawn(complete()))
    assert (unit, str(first), str(after)) == ("E01", "2026-03-02", "2026-03-05")
    assert (trace.x[0], trace.width[0]) == (1050.0, 100.0)


def test_work_under_way_is_drawn_to_the_end_of_today():
    cell = a_cell(status="under_way", started="2026-03-18", percent=40.0)
    ends = {str(after) for _, first, after, _ in boxes(drawn(cell)) if str(first) == "2026-03-18"}
    assert ends == {"2026-03-21"}


def test_the_fan_reaches_from_10_to_90_per_cent():
    [(_, first, after, _)] = boxes(drawn(a_cell()))
    assert (str(first), str(after)) == ("2026-04-01", "2026-04-11")


def test_time_runs_down_and_station_across():
    low, high = drawn(complete()).layout.yaxis.range
    assert pd.Timestamp(low) > pd.Timestamp(high)
    assert drawn(complete()).layout.xaxis.range == (1000.0, 1100.0)


def test_each_status_has_its_own_hatch_as_well_as_its_colour():
    cells = [complete("E01"), a_cell("E02", at=1, status="under_way", started="2026-03-16"),
             a_cell("E03", at=2, status="on_hold", started="2026-03-16")]  # fmt: skip
    worked = [t for _, _, _, t in boxes(drawn(*cells)) if t.marker.color != BAND]
    looks = {(trace.marker.color, trace.marker.pattern.shape) for trace in worked}
    assert len(looks) == 3
    assert len({shape for _, shape in looks}) == 3


def test_plan_and_projection_differ_by_their_dash():
    dashes = {trace.line.dash for trace in drawn(a_cell()).select_traces({"type": "scatter"})}
    assert {PLAN_LINE["dash"], LIKELY_LINE["dash"]} <= dashes
    assert PLAN_LINE["dash"] != LIKELY_LINE["dash"]


def test_the_plan_lies_at_the_end_of_the_day_it_names():
    lines = [t for t in drawn(a_cell()).select_traces({"type": "scatter"})
             if t.line.dash == PLAN_LINE["dash"]]  # fmt: skip
    assert [day for day in lines[0].y if day] == ["2026-03-26", "2026-03-26"]


def test_what_lags_has_a_bright_outline_inside_a_dark_one():
    figure = drawn(a_cell(), a_cell("E02", at=1), lagging={("E02", "rebar")})
    outlines = [(unit, trace.marker.line.color) for unit, _, _, trace in boxes(figure)
                if trace.marker.color == "rgba(0,0,0,0)"]  # fmt: skip
    assert outlines == [("E02", GROUND.lag_case), ("E02", GROUND.lag_core)]


def test_a_gap_between_two_units_is_drawn_and_its_days_are_written():
    waited = complete("E02", at=1, started="2026-03-12", finished="2026-03-13",
                      idle_days=5.0, idle_from="2026-03-04")  # fmt: skip
    figure = drawn(complete(), waited)
    assert "5 d idle" in words_on(figure)
    gaps = [t for t in figure.select_traces({"type": "scatter"}) if t.mode == "lines+markers"]
    assert (gaps[0].x, gaps[0].y) == ((1100.0, 1100.0), ("2026-03-05", "2026-03-12"))


def test_a_crew_that_only_changes_over_is_not_marked_idle():
    waited = complete("E02", at=1, started="2026-03-06", finished="2026-03-07",
                      idle_days=1.0, idle_from="2026-03-04")  # fmt: skip
    assert "idle" not in words_on(drawn(complete(), waited))


def test_what_stands_by_a_box_says_one_idle_day_in_the_singular():
    waited = complete("E02", at=1, started="2026-03-06", finished="2026-03-07",
                      idle_days=1.0, idle_from="2026-03-04")  # fmt: skip
    said = [text for _, _, _, trace in boxes(drawn(waited)) for text in trace.hovertext or ()]
    assert any(text.endswith("Crew idle before it: 1 working day") for text in said)


def test_a_collision_is_marked_with_a_cross_and_said():
    figure = drawn(complete(overtakes="falsework"))
    [cross] = [t for t in figure.select_traces({"type": "scatter"}) if t.marker.symbol == "x"]
    assert cross.hovertext == ("E01: Rebar began before Falsework was finished",)


def test_the_selected_unit_stands_out_by_a_frame_and_bold_type():
    figure = drawn(complete(), complete("E02", at=1), unit="E02")
    [frame] = [shape for shape in figure.layout.shapes if shape.type == "rect"]
    assert (frame.x0, frame.x1) == (1100.0, 1200.0)
    assert "<b>E02</b>" in words_on(figure)


def test_every_unit_is_named_and_every_box_carries_its_unit_for_a_click():
    figure = drawn(complete(), complete("E02", at=1))
    assert {"E01", "E02"} <= set(words_on(figure).split(" | "))
    assert {unit for unit, *_ in boxes(figure)} == {"E01", "E02"}


def test_two_structures_lie_side_by_side_and_on_a_phone_one_above_the_other():
    both = [complete(), complete("W01", structure="W")]
    desk, phone = drawn(*both), drawn(*both, narrow=True)
    assert desk.layout.xaxis2.domain[0] > desk.layout.xaxis.domain[1]
    assert phone.layout.xaxis2.domain == phone.layout.xaxis.domain
    assert {"Eastbound", "Westbound"} <= set(words_on(desk).split(" | "))


def test_with_no_crew_in_focus_each_crew_has_its_own_tone_and_hatch_or_dash():
    figure = drawn(complete(activity="falsework"), complete(), focus="")
    tones = {trace.marker.color for _, _, _, trace in boxes(figure)}
    assert tones == {CREW_LOOKS[0].fill, CREW_LOOKS[1].fill}


def test_a_heading_without_units_says_so():
    assert "No unit lies here." in words_on(
        time_station_chart(pd.DataFrame(), NAMES, Seen(), as_of=TODAY, length_unit="m",
                           structure_names={})
    )  # fmt: skip


def test_the_legend_explains_every_outline_and_line():
    words = " ".join(text for _, text in legend_entries("rebar")).lower()
    for said in ("complete", "hold", "10 to 90", "planned", "lags", "idle", "before the work"):
        assert said in words


# Looks by numbers


def test_text_and_lines_stand_out_from_the_paper():
    # WCAG 2.2: 4.5:1 for text (1.4.3), 3:1 for what a chart is read by (1.4.11).
    for ink in (GROUND.ink, GROUND.quiet_ink, ALARM, PLACED, PLAN_LINE["color"]):
        assert contrast(ink, GROUND.paper) >= 4.5
    for look in CREW_LOOKS:
        assert contrast(look.line, GROUND.paper) >= 3.0


@pytest.mark.parametrize("sight", ["normal", "protanomaly", "deuteranomaly", "tritanomaly"])
def test_crews_that_follow_one_another_are_told_apart_by_every_sight(sight):
    for one, other in pairwise(CREW_LOOKS):
        apart = difference(seen_by(sight, one.fill), seen_by(sight, other.fill))
        assert apart >= 12
        assert one.dash != other.dash


# Quantities


def a_curve(**more):
    days = np.arange("2026-03-02", "2026-03-05", dtype="datetime64[D]")
    ahead = np.arange("2026-03-04", "2026-03-08", dtype="datetime64[D]")
    return QuantityCurve(**{
        "activity": "deck_pour", "measure_unit": "yd3", "total": 300.0, "days": days,
        "placed": np.array([0.0, 50.0, 100.0]), "baseline_days": days[[0, 2]],
        "baseline": np.array([150.0, 300.0]), "projected_days": ahead,
        "low": np.array([100.0, 100.0, 200.0, 300.0]),
        "likely": np.array([100.0, 200.0, 300.0, 300.0]),
        "high": np.array([100.0, 300.0, 300.0, 300.0]), **more,
    })  # fmt: skip


def test_planned_placed_and_projected_are_drawn_as_they_are_answered():
    curve = a_curve()
    band, likely, plan, placed = quantity_chart(curve).data
    assert list(placed.y) == curve.placed.tolist()
    assert list(plan.y) == curve.baseline.tolist()
    assert list(likely.y) == curve.likely.tolist()
    assert list(band.y) == [*curve.high.tolist(), *curve.low[::-1].tolist()]


def test_each_curve_is_named_and_drawn_in_its_own_way():
    figure = quantity_chart(a_curve())
    for name in ("Plan", "Placed 100 yd³", "Projected", "Now, 4 Mar 2026"):
        assert name in words_on(figure)
    _, likely, plan, placed = figure.data
    assert len({likely.line.dash, plan.line.dash, placed.line.dash}) == 3


def label(figure, starts):
    """The one label that starts so."""
    (found,) = (note for note in figure.layout.annotations
                if note.text.removeprefix("<b>").startswith(starts))  # fmt: skip
    return found


def test_a_finished_activity_is_not_projected_and_its_words_have_room():
    days = np.arange("2026-03-02", "2026-06-10", dtype="datetime64[D]")
    done = a_curve(
        days=days, placed=np.linspace(0.0, 300.0, days.size), projected_days=days[-1:],
        low=np.array([300.0]), likely=np.array([300.0]), high=np.array([300.0]),
    )  # fmt: skip
    figure = quantity_chart(done)
    assert "Placed 300 yd³" in words_on(figure)
    assert "Projected" not in words_on(figure)
    first, last = (np.datetime64(day) for day in figure.layout.xaxis.range)
    assert (last - days[-1]) / (last - first) > 0.15


def test_of_what_is_not_begun_the_label_stands_over_the_day_and_not_on_the_axis():
    none = {name: np.array([0.0, 0.0, 200.0, 300.0]) for name in ("low", "likely", "high")}
    figure = quantity_chart(a_curve(placed=np.zeros(3), **none))
    placed, now = label(figure, "Placed 0"), label(figure, "Now")
    assert (placed.yanchor, now.yanchor, now.y) == ("bottom", "bottom", 0.0)
    # A line of words of 14 px in some 280 px of chart.
    assert placed.y / 300.0 > 20 / 280


def test_with_little_left_what_is_placed_is_said_under_and_what_is_projected_over_its_curve():
    little = a_curve(
        placed=np.array([0.0, 50.0, 290.0]), low=np.array([290.0, 290.0, 290.0, 300.0]),
        likely=np.array([290.0, 290.0, 300.0, 300.0]),
        high=np.array([290.0, 300.0, 300.0, 300.0]),
    )  # fmt: skip
    figure = quantity_chart(little)
    assert (label(figure, "Placed").yanchor, label(figure, "Projected").yanchor) == (
        "top",
        "bottom",
    )


def test_a_job_without_a_baseline_has_no_plan_curve():
    bare = a_curve(baseline_days=np.array([], "datetime64[D]"), baseline=np.array([]))
    assert len(quantity_chart(bare).data) == 3


# Cycles


def a_crew(cycles, shift=None):
    values = np.array(cycles, dtype=float)
    units = tuple(f"E{number:02d}" for number in range(2, 2 + values.size))
    days = np.datetime64("2026-03-02") + np.arange(values.size)
    return CycleChart("h1", "rebar", units, days, values,
                      control_chart(values) if values.size > 1 else None, shift, 4.0)  # fmt: skip


def test_the_limits_of_the_nist_example_are_drawn_where_the_handbook_has_them():
    # NIST/SEMATECH e-Handbook 6.3.2.2 (from memory): 50.81 ± 3 · 1.8778 / 1.128.
    flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
    figure = control_chart_figure(a_crew(flow))
    levels = sorted(shape.y0 for shape in figure.layout.shapes)
    assert levels == pytest.approx([4.0, 45.8159, 50.81, 55.8041], abs=5e-5)
    assert "upper limit 55.8" in words_on(figure)


def test_a_cycle_outside_the_limits_is_a_cross_and_the_others_are_dots():
    _, dots, crosses = control_chart_figure(a_crew([3, 3, 4, 3, 3, 4, 3, 30, 3, 4, 3])).data
    assert (dots.marker.symbol, crosses.marker.symbol) == ("circle", "x")
    assert list(crosses.y) == [30.0]


def test_a_limit_below_zero_is_not_drawn_for_no_cycle_is_shorter():
    figure = control_chart_figure(a_crew([1, 9, 1, 9]))
    assert "lower limit" not in words_on(figure)


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize(
    "cycles",
    [
        [5, 6, 6, 5, 4, 7, 5, 6],
        [4, 4, 5, 4, 4, 4, 4, 5],
        [4, 4, 4, 4],
        [1, 9, 1, 9, 3, 12],
        [8, 9, 8],
    ],
)
def test_no_level_is_named_on_the_name_of_another(cycles, narrow):
    figure = control_chart_figure(a_crew(cycles), narrow=narrow)
    low, high = figure.layout.yaxis.range
    assert low == 0
    chart_px, words_px = 280, 16  # of 380 px with margins of 34 and 58; type of 13 px
    bottoms = []
    for note in figure.layout.annotations:
        under = {"bottom": 0, "middle": words_px / 2, "top": words_px}[note.yanchor]
        bottoms.append(note.y / high * chart_px + (note.yshift or 0) - under)
    assert len(bottoms) >= 3
    assert np.diff(sorted(bottoms)).min() >= words_px - 1


def test_of_average_and_plan_close_together_one_is_named_above_and_one_below():
    for narrow in (False, True):
        figure = control_chart_figure(a_crew([4, 4, 5, 4, 4, 4, 4, 5]), narrow=narrow)
        assert label(figure, "average 4.2").yanchor == "bottom"
        assert label(figure, "plan 4.0").yanchor == "top"


def test_a_shift_in_pace_is_marked_in_words():
    figure = control_chart_figure(a_crew([3, 3, 3, 8, 8, 8], PaceShift(3, 3.0, 8.0)))
    assert "slower from here" in words_on(figure)


def test_too_few_cycles_say_what_is_missing():
    assert "Two cycles are needed" in words_on(control_chart_figure(a_crew([3])))


# Past projections, and cases


def outcomes(*actual):
    rows = [{"as_of": pd.Timestamp("2026-03-06") + pd.Timedelta(weeks=week), "units_ahead": 10,
             "p10": pd.Timestamp("2026-04-01"), "p25": pd.Timestamp("2026-04-03"),
             "p50": pd.Timestamp("2026-04-05"), "p75": pd.Timestamp("2026-04-07"),
             "p90": pd.Timestamp("2026-04-10"), "actual": pd.Timestamp(day) if day else pd.NaT}
            for week, day in enumerate(actual)]  # fmt: skip
    return Backtest(pd.DataFrame(rows))


def test_what_came_inside_the_band_is_a_dot_and_what_came_outside_a_cross():
    figure = backtest_chart(outcomes("2026-04-01", "2026-04-11", None))
    dots, crosses = [t for t in figure.data if t.type == "scatter"]
    assert (dots.marker.symbol, len(dots.x)) == ("circle", 1)
    assert (crosses.marker.symbol, len(crosses.x)) == ("x", 1)
    assert "outside the 80\u00a0% band" in crosses.hovertext[0]


def test_a_young_job_says_that_nothing_can_be_judged_yet():
    assert "No past projection" in words_on(backtest_chart(Backtest(pd.DataFrame())))


def a_case(name, *days):
    dates = [dt.date(2027, 1, day) for day in days]
    return Case(name, Band(*dates), {}, 0, {}, 1.0, 100.0)


def test_cases_lie_one_under_the_other_with_their_band_and_both_dates():
    cases = (a_case(AS_IT_IS, 4, 10, 15, 20), a_case("Six-day week", 1, 5, 8, 11))
    band, likely, sure = whatif_chart(WhatIf(dt.date(2026, 3, 20), 100, 1, cases)).data
    assert list(band.y) == [AS_IT_IS, "Six-day week"]
    assert [length / DAY_MS for length in band.x] == [17, 11]
    assert [str(day)[:10] for day in likely.x] == ["2027-01-10", "2027-01-05"]
    assert likely.marker.symbol != sure.marker.symbol
