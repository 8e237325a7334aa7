"""The demo's log behaves like a job, and the log's own judge takes it."""

import datetime as dt
import itertools
import time

import numpy as np
import pytest

from demo_project import words
from demo_project.generator import LOG_ENDS, demo_events, rain
from model.acceptance import judge
from model.clock import utc_now
from model.planned import lay_out_plan
from model.store.memory import MemoryStore
from model.units import from_si
from model.workdays import WorkCalendar

LAST_TICKETS_AFTER = dt.timedelta(days=4)


def shifts(job, finishes):
    """Working-day numbers of finishes; work before six belongs to the day before."""
    days = (finishes["at"] - dt.timedelta(hours=6)).to_numpy().astype("datetime64[D]")
    return np.sort(job.calendar.index_of(days))


def last_finishes(standing, activity):
    """Last finish of each unit whose every begun span is finished."""
    own = standing[(standing["activity"] == activity) & (standing["kind"] == "finish")]
    return own.groupby("unit", as_index=False)["at"].max()


def test_the_log_is_taken_without_an_error_in_one_batch(demo_job, demo_log):
    empty = MemoryStore(utc_now).frame()
    problems = judge(demo_log, empty, demo_job, now_local=LOG_ENDS)
    assert [str(problem) for problem in problems if problem.severity == "error"] == []
    # Pours of the last days whose late load tickets are still to come are all it remarks upon.
    odd = [demo_log[problem.row - 1] for problem in problems]
    assert len(odd) <= 3
    assert all(event.activity in ("deck_pour", "bottom_slab_stems") for event in odd)
    assert all(LOG_ENDS - event.at < LAST_TICKETS_AFTER for event in odd)


def test_the_log_is_taken_without_an_error_day_by_day_as_it_was_recorded(demo_job, demo_log):
    store = MemoryStore(utc_now)
    days = {}
    for event in demo_log:
        days.setdefault(event.recorded_at.astimezone(demo_job.timezone).date(), []).append(event)
    for day, batch in days.items():
        now = dt.datetime.combine(day, dt.time(23, 59))
        errors = []

        def judged(new, events, now=now, errors=errors):
            problems = judge(new, events, demo_job, now_local=now)
            errors += [str(p) for p in problems if p.severity == "error"]
            return problems

        store.append(batch, judge=judged, keep_recorded_at=True)
        assert errors == []
    assert store.last_seq() == len(demo_log)


def test_the_same_seed_gives_the_same_log_and_another_seed_another(demo_job, demo_log):
    assert demo_events(demo_job) == demo_log
    assert demo_events(demo_job, seed=7) != demo_log


def test_the_log_is_made_in_under_three_seconds(demo_job):
    begun = time.process_time()
    demo_events(demo_job)
    assert time.process_time() - begun < 3.0


def test_identifiers_are_all_different(demo_log):
    assert len({event.event_id for event in demo_log}) == len(demo_log)


def test_nothing_is_recorded_before_it_happened_or_after_the_log_ends(demo_job, demo_log):
    for event in demo_log:
        recorded = event.recorded_at.astimezone(demo_job.timezone).replace(tzinfo=None)
        assert event.at <= recorded <= LOG_ENDS


def test_events_come_in_the_order_the_log_came_to_know_them(log_frame):
    assert log_frame["recorded_at"].is_monotonic_increasing


def test_nine_months_of_work_are_half_built(standing):
    poured = last_finishes(standing, "deck_pour")
    assert 0.4 <= len(poured) / 54 <= 0.6
    assert standing["at"].min().date() == dt.date(2026, 3, 2)
    assert standing["at"].max().date() == dt.date(2026, 11, 24)


def test_every_heading_has_poured_and_most_activities_are_under_way_or_held(demo_job, standing):
    poured = last_finishes(standing, "deck_pour")["unit"].map(demo_job.heading_of_unit)
    assert set(poured) == {heading.key for heading in demo_job.headings}
    moves = standing[standing["kind"].isin(["start", "hold", "resume", "finish", "reopen"])]
    last = moves.sort_values("at").groupby(["unit", "span", "activity"])["kind"].last()
    still = last[last.isin(["start", "resume", "hold"])].reset_index()
    assert still["activity"].nunique() >= 5
    assert "hold" in set(still["kind"])


@pytest.mark.parametrize("heading", ["E_from_west", "W_from_west"])
def test_crews_learn(demo_job, standing, heading):
    # Days with something placed on a unit, for each span: holds and rain don't count.
    own = standing[(standing["kind"] == "place") & (standing["activity"] != "deck_pour")]
    own = own[own["unit"].map(demo_job.heading_of_unit) == heading]
    days = own.groupby("unit")["at"].agg(lambda at: at.dt.date.nunique())
    spans = days.index.map(lambda unit: len(demo_job.spans_of_unit[unit]))
    finished = list(last_finishes(standing, "deck_pour").sort_values("at")["unit"])
    per_span = (days / spans).loc[[unit for unit in finished if unit in days.index]]
    number = np.arange(1, len(per_span) + 1)
    slope, _ = np.polyfit(np.log2(number), np.log2(per_span.to_numpy(float)), 1)
    # Twice the units, at least a tenth less time for each.
    assert 2.0**slope < 0.9


def test_one_heading_lags(demo_job, standing):
    cycles = {}
    for heading in demo_job.headings:
        poured = last_finishes(standing, "deck_pour")
        own = poured[poured["unit"].isin(heading.units)]
        if len(own) > 3:
            cycles[heading.key] = np.diff(shifts(demo_job, own)).mean()
    others = [cycle for key, cycle in cycles.items() if key != "W_from_west"]
    assert len(cycles) >= 3
    assert cycles["W_from_west"] > 1.3 * max(others)


def test_forms_ran_short_in_summer_for_two_to_three_weeks(demo_job, standing):
    held = standing[standing["reason"] == words.FORM_SHORTAGE]
    assert len(held) == 1
    hold = held.iloc[0]
    cell = standing[
        (standing["unit"] == hold["unit"])
        & (standing["span"] == hold["span"])
        & (standing["activity"] == "deck_forms")
    ]
    resumed = cell[(cell["kind"] == "resume") & (cell["at"] > hold["at"])]["at"].min()
    assert hold["at"].month in (7, 8)
    assert 14 <= (resumed - hold["at"]).days <= 24


def test_every_hold_has_a_reason_and_rain_is_one_of_them(standing):
    reasons = standing.loc[standing["kind"] == "hold", "reason"]
    assert reasons.str.len().gt(0).all()
    assert reasons.nunique() >= 10
    assert (reasons == words.RAIN).sum() >= 5


def test_rain_falls_in_the_months_that_expect_it(demo_job, standing):
    wet = standing[standing["reason"] == words.RAIN]["at"].dt.month
    assert not wet.isin([6, 7, 8]).any()


def test_slips_are_put_right_by_further_events(log_frame, standing):
    kinds = log_frame["kind"].value_counts()
    assert kinds["void"] >= 5 and kinds["reopen"] >= 2
    assert set(words.REOPEN_REASONS.values()) >= set(
        standing["reason"][standing["kind"] == "reopen"]
    )
    late = log_frame[log_frame["note"].str.contains(words.LATE_TICKETS)]
    hours = (
        late["recorded_at"].dt.tz_convert("America/Los_Angeles").dt.tz_localize(None) - late["at"]
    )
    assert len(late) >= 5 and (hours > dt.timedelta(hours=20)).all()


def test_pours_come_in_several_load_ticket_totals(standing):
    pours = standing[(standing["activity"] == "deck_pour") & (standing["kind"] == "place")]
    assert pours.groupby("unit").size().between(3, 5).mean() > 0.9


def test_placed_is_near_planned_where_a_unit_is_finished(demo_job, standing):
    plan = lay_out_plan(demo_job)
    column = [a.key for a in demo_job.activities].index("deck_pour")
    planned = dict(
        zip(demo_job.units["unit"], from_si(plan.unit_si[:, column], "yd3"), strict=True)
    )
    finished = last_finishes(standing, "deck_pour").set_index("unit")["at"]
    told = finished[finished < LOG_ENDS - LAST_TICKETS_AFTER].index
    pours = standing[(standing["activity"] == "deck_pour") & (standing["kind"] == "place")]
    placed = pours.groupby("unit")["quantity"].sum().loc[told]
    ratios = placed / [planned[unit] for unit in told]
    assert len(ratios) > 20
    assert (ratios - 1.0).abs().max() < 0.07
    assert ratios.std() > 0.003


def test_some_pours_end_after_midnight(standing):
    finished = standing[(standing["activity"] == "deck_pour") & (standing["kind"] == "finish")]
    assert 3 <= (finished["at"].dt.hour < 6).sum() < len(finished)


def test_decks_cure_for_at_least_seven_calendar_days(standing):
    cures = standing[standing["activity"] == "curing"]
    times = cures.pivot_table(index="unit", columns="kind", values="at", aggfunc="max")
    lasted = (times["finish"] - times["start"]).dropna()
    assert len(lasted) > 20
    assert lasted.between(dt.timedelta(days=7), dt.timedelta(days=7, hours=12)).all()


def test_no_more_falsework_sets_are_in_use_than_there_are(demo_job, standing):
    starts = standing[(standing["activity"] == "falsework") & (standing["kind"] == "start")]
    cured = standing[(standing["activity"] == "curing") & (standing["kind"] == "finish")]
    start, end = (frame.set_index("unit")["at"] for frame in (starts, cured))
    for heading in demo_job.headings:
        begun = [unit for unit in heading.units if unit in start.index]
        for number, unit in enumerate(begun[heading.falsework_sets :]):
            freed_by = heading.units[number]
            free = demo_job.calendar.add(np.datetime64(end[freed_by], "D"), heading.turnaround_days)
            assert np.datetime64(start[unit], "D") >= free


def test_one_crew_per_activity_follows_its_heading(demo_job, standing):
    for heading in demo_job.headings:
        for activity in demo_job.activities:
            if activity.calendar_days:
                continue
            own = standing[
                standing["unit"].isin(heading.units) & (standing["activity"] == activity.key)
            ]
            first = own[own["kind"] == "start"].groupby("unit")["at"].min()
            last = own[own["kind"] == "finish"].groupby("unit")["at"].max()
            order = [unit for unit in heading.units if unit in first.index]
            assert all(last[a] <= first[b] for a, b in itertools.pairwise(order))


def test_work_is_done_on_working_days(demo_job, standing):
    moves = standing[standing["kind"].isin(["start", "place", "resume", "finish"])]
    moves = moves[moves["activity"] != "curing"]
    days = (moves["at"] - dt.timedelta(hours=6)).to_numpy().astype("datetime64[D]")
    early = moves["at"].dt.hour.between(4, 6).to_numpy()
    days[early] = moves["at"].to_numpy()[early].astype("datetime64[D]")
    assert demo_job.calendar.is_workday(days).all()


def test_a_handful_of_invented_foremen_write_the_log(log_frame):
    known = {name for pair in words.FOREMEN.values() for name in pair}
    assert set(log_frame["by"]) == known
    assert 4 <= len(known) <= 10


def test_rain_loses_as_many_days_as_expected_and_in_spells():
    calendar = WorkCalendar(dt.date(2026, 3, 2), lost_days_per_month=(4.0,) * 12)
    lost = np.concatenate([rain(calendar, np.random.default_rng(seed)) for seed in range(40)])
    expected = calendar.daily_loss_probability(np.arange(600)).mean()
    # Spells widen the spread: standard error of the mean times (1 + m) / (1 − m) in variance.
    error = np.sqrt(expected * (1 - expected) / lost.size * 1.35 / 0.65)
    assert abs(lost.mean() - expected) < 4 * error
    assert lost[1:][lost[:-1]].mean() > 1.5 * expected
