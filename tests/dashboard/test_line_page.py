"""The line page: its words, its callbacks, its address, and how often it computes."""

import datetime as dt
import threading
from functools import partial

import pandas as pd
import pytest

from dashboard.pages import line_chart, line_whatif
from dashboard.parts.finish_cards import date_words
from dashboard.parts.lag_table import BY_ITSELF, WITH_HEADING, lag_table
from dashboard.parts.lag_words import lag_summary
from dashboard.parts.line_address import ALL, LineView, read_line_address
from dashboard.parts.line_back import USUAL
from dashboard.parts.whatif_form import FIELDS, changes_of, field_id
from dashboard.parts.whatif_table import whatif_table
from model import line_answers, one_job
from model.backtest import backtest
from model.clock import end_of_day
from model.lag import COLUMNS, Lag
from model.line_answers import LineAnswers, Recent
from model.one_job import OneJob
from model.projection import Band
from model.starving import COLUMNS as CREW_COLUMNS
from model.starving import NO_SET, Starving
from model.whatif import MOST_CASES, Case, Change, WhatIf
from tests.dashboard.conftest import words_of

NAMES = {"falsework": "Falsework", "rebar": "Rebar", "deck_pour": "Deck pour"}
DAY = dt.date(2026, 11, 24)
WIDE = {"narrow": False}


def text_of(component) -> str:
    """All words of a component, as one reads them."""
    if component is None or isinstance(component, str | int | float):
        return "" if component is None else str(component)
    if isinstance(component, list | tuple):
        return "".join(text_of(part) for part in component)
    return text_of(getattr(component, "children", None))


def a_lag(*rows):
    return Lag(DAY, pd.DataFrame(list(rows), columns=list(COLUMNS)))


def crews(*rows):
    return Starving(DAY, pd.DataFrame(list(rows), columns=list(CREW_COLUMNS)))


W07 = ("W07", "h2", "rebar", 60.0, 5.4, -12.0, 2.5, "Under way for 9 working days.",
       None, "deck_pour")  # fmt: skip
E20 = ("E20", "h1", "deck_pour", None, 3.0, None, 0.04, "Waits for rebar of its unit.",
       None, "")  # fmt: skip
SLOW = ("W08", "h2", "rebar", 64.0, -3.9, -4.0, 0.0,
        "The whole heading is slow: rebar of a unit every 13 days.", 2.3, "deck_pour")  # fmt: skip
EARLIER = ("E18", "h1", "falsework", 3.0, -2.7, 10.0, 0.0, "Behind since earlier.", 0.0, "rebar")
STARVES = ("h2", "deck_pour", "W07", "rebar", "W07", pd.Timestamp("2026-12-01"),
           pd.Timestamp("2026-12-08"), 5, 0.0, False)  # fmt: skip
IDLE = ("h1", "falsework", "E15", NO_SET, "E20", pd.Timestamp("2026-11-20"),
        pd.Timestamp("2026-12-02"), 8, 0.0, True)  # fmt: skip


# What stands on top


def test_the_first_sentence_says_which_unit_lags_most_by_how_much_and_why():
    said = text_of(lag_summary(a_lag(W07, E20), crews(), NAMES))
    assert "Lags most: Rebar of W07 on h2, 5.4 working days behind the pace" in said
    assert "costs the finish 2.5 working days" in said
    assert "Why: Under way for 9 working days." in said


def test_the_command_writes_days_in_the_words_of_the_page():
    one = ("E18", "h1", "falsework", 3.0, 7.2, None, 1.0, "On hold.", None, "")
    assert str(a_lag(W07, one, SLOW)).splitlines() == [
        "W07 rebar: 5.4 working days behind its pace, costs the finish 2.5 working days. "
        "Under way for 9 working days.",
        "E18 falsework: 7.2 working days behind its pace, costs the finish 1 working day. On hold.",
        "W08 rebar: 64 working days behind the baseline. "
        "The whole heading is slow: rebar of a unit every 13 days.",
    ]


def test_the_second_sentence_says_who_starves_next_from_when_and_until_when():
    said = text_of(lag_summary(a_lag(W07), crews(IDLE, STARVES), NAMES))
    assert "Next to starve: the deck pour crew on h2, after Tue 1 Dec, for 5 working days" in said
    assert "waits until rebar of W07 is finished, can go on after Tue 8 Dec" in said


def test_crews_that_stand_idle_already_are_listed_with_what_they_wait_for():
    said = text_of(lag_summary(a_lag(W07), crews(IDLE), NAMES))
    assert "1 crew stands idle now" in said
    assert "the falsework set under E20 is free, can go on after Wed 2 Dec" in said
    assert "No crew is about to starve." in said


def test_who_lags_behind_its_pace_and_is_ahead_of_the_baseline_is_said_to_be():
    ahead = (*W07[:3], -1.0, *W07[4:])
    said = text_of(lag_summary(a_lag(ahead), crews(), NAMES))
    assert "behind the pace of its heading (but 1 working day ahead of the baseline)" in said
    assert "ahead" not in text_of(lag_summary(a_lag(W07), crews(), NAMES))


def test_what_is_farthest_behind_the_baseline_is_said_even_where_it_keeps_its_pace():
    said = text_of(lag_summary(a_lag(W07, SLOW), crews(), NAMES))
    assert "Farthest behind the baseline: Rebar of W08 on h2, 64 working days" in said
    assert "costs the finish 2.3 working days. Why: The whole heading is slow" in said


def test_a_line_on_its_pace_says_so():
    calm = (*W07[:3], 0.4, 0.2, *W07[5:])
    assert "No unit lags" in text_of(lag_summary(a_lag(calm), crews(), NAMES))
    assert "Nothing lags" in text_of(lag_table(a_lag(calm), NAMES))


def test_the_table_has_the_worst_first_and_a_dash_where_there_is_no_number():
    said = text_of(lag_table(a_lag(W07, (*E20[:6], 0.3, *E20[7:])), NAMES))
    assert said.index("W07") < said.index("E20")
    assert "Deck pour0.3–3–Waits" in said
    assert "2.5605−12 deck pour crew starves" in said


def test_units_that_are_late_with_all_their_heading_stand_in_the_table_under_words_of_their_own():
    said = text_of(lag_table(a_lag(W07, SLOW), NAMES))
    assert said.index(BY_ITSELF) < said.index("W07") < said.index(WITH_HEADING)
    assert said.index(WITH_HEADING) < said.index("W08") < said.index("The whole heading is slow")
    assert "Rebar2.364−4−4 deck pour crew starves" in said


def test_a_line_where_only_whole_headings_are_late_shows_them():
    said = text_of(lag_table(a_lag(SLOW), NAMES))
    assert BY_ITSELF not in said
    assert "W08" in said


def test_what_costs_the_finish_nothing_is_folded_away_with_what_it_is():
    said = text_of(lag_table(a_lag(W07, E20, SLOW, EARLIER), NAMES))
    assert f"{BY_ITSELF}: 1 more that wait for these or cost less, by up to 3 working days" in said
    assert f"{WITH_HEADING}: 1 more, by up to 3 working days" in said
    assert said.index("1 more that wait") < said.index("E20")


def test_where_nothing_costs_the_finish_anything_the_worst_few_are_shown_all_the_same():
    rows = [(f"W{number:02d}", *W07[1:6], 0.0, *W07[7:]) for number in range(7)]
    assert f"{BY_ITSELF}: 2 more" in text_of(lag_table(a_lag(*rows), NAMES))


def test_beyond_the_worst_few_the_table_folds_the_rest_away():
    rows = [(f"W{number:02d}", *W07[1:]) for number in range(9)]
    assert f"{BY_ITSELF}: 4 more" in text_of(lag_table(a_lag(*rows), NAMES))


# The address


def read(search, usual=None):
    usual = usual or LineView("h2", "rebar", "W07")
    return read_line_address(search, usual, headings=["h1", "h2"], activities=list(NAMES),
                             heading_of_unit={"W07": "h2", "E20": "h1"})  # fmt: skip


def test_without_a_word_in_the_address_the_page_opens_on_what_lags_most():
    assert read("") == LineView("h2", "rebar", "W07")


def test_a_unit_in_the_address_brings_its_own_heading():
    assert read("?unit=E20&activity=deck_pour") == LineView("h1", "deck_pour", "E20")


def test_all_headings_and_all_crews_can_be_linked_to():
    assert read("?heading=all&activity=all") == LineView(ALL, ALL, "")


def test_what_cannot_be_followed_is_said_and_left_out():
    view = read("?heading=north&unit=X99")
    assert (view.heading, view.unit) == ("h2", "")
    assert len(view.notes) == 2


def test_how_far_back_to_look_may_stand_in_the_address():
    assert read("?back=6-weeks") == LineView("h2", "rebar", "W07", back="6-weeks")
    assert read("?unit=E20&back=12-units").back == "12-units"
    wrong = read("?back=for-ever")
    assert wrong.back == USUAL
    assert "for-ever" in wrong.notes[0]


# Callbacks, as the browser calls them


def changed_by(answer):
    """What an answer changes on the page; nothing where it says to leave all as it is."""
    return answer.get_json()["response"] if answer.status_code == 200 else {}


def test_the_page_answers_with_sentence_table_chart_and_caution(client, call):
    words = words_of(call("page.children", **{"url.pathname": "/line", "url.search": ""}))
    for said in ("Lags most: ", "Next to starve: ", "Units that lag, worst first",
                 "Time and station", "What if", "Planning figures only."):  # fmt: skip
        assert said in words


def test_the_chart_shows_the_chosen_heading_and_says_what_is_known_of_the_unit(call):
    answer = call("line-chart.figure", **{
        "line-heading.value": "W_from_west", "line-activity.value": "rebar",
        "line-chosen.data": {"unit": "W07", "units": []}, "line-screen.data": WIDE,
        "line-seq.data": 1,
    }).get_json()["response"]  # fmt: skip
    names = [note["text"] for note in answer["line-chart"]["figure"]["layout"]["annotations"]]
    assert "<b>W07</b>" in names
    assert "E01" not in names
    assert "/?unit=W07&activity=rebar&lag=1" in str(answer["line-unit"])
    assert "/entry?heading=W_from_west&unit=W07" in str(answer["line-unit"])


def test_quantities_cycles_drivers_and_pours_come_with_words(call):
    seen = {"line-activity.value": "deck_pour", "line-heading.value": "E_from_west",
            "line-screen.data": WIDE, "line-seq.data": 1}  # fmt: skip
    assert "yd³ placed; the baseline has" in words_of(call("line-curve.figure", **seen))
    assert "working days on average" in words_of(call("line-cycles.figure", **seen))
    assert "In the next 15 working days" in words_of(call("line-drivers.children", **seen))


def test_a_page_that_does_not_know_its_screen_yet_is_sent_no_chart(call):
    answer = call("line-curve.figure", **{"line-activity.value": "rebar"})
    assert changed_by(answer) == {}


def test_an_open_page_is_told_when_the_log_has_grown(project, call):
    seen = project.last_seq()
    assert changed_by(call("line-seq.data", **{"line-seq.data": seen})) == {}
    newer = call("line-seq.data", **{"line-seq.data": seen - 1}).get_json()
    assert newer["response"]["line-seq"]["data"] == seen


def test_all_of_the_page_looks_as_far_back_as_it_is_told(project, call):
    shown = words_of(
        call("page.children", **{"url.pathname": "/line", "url.search": "?back=2-units"})
    )
    assert "2 units" in shown
    seen = {"line-seq.data": 1, "line-activity.value": "rebar", "line-screen.data": WIDE}
    for output in ("line-lag.children", "line-pours.children", "line-curve.figure"):
        usual, near = (words_of(call(output, **seen, **{"line-back.value": back}))
                       for back in (USUAL, "2-units"))  # fmt: skip
        assert usual != near, output
    near = project.line.looking_back(Recent(units=2))
    assert near.forecast().finish_days.tolist() == project.forecast(recent=2).finish_days.tolist()


@pytest.fixture
def at_once(monkeypatch):
    """A job is done as soon as it is begun, and a past week is marched few times."""
    start = OneJob.start

    def waited(job, work, key=None):
        begun = start(job, work, key)
        job.wait(120)
        return begun

    monkeypatch.setattr(OneJob, "start", waited)
    monkeypatch.setattr(line_answers, "backtest", partial(backtest, paths=50))


def test_old_projections_look_back_as_the_page_does_and_say_so_where_they_did_not(at_once, call):
    def shown(back, changed="line-screen.data"):
        asked = {"line-back.value": back, changed: 1, "line-screen.data": WIDE}
        return words_of(call("line-backtest.children", changed=changed, **asked))

    usual, other = shown(USUAL), shown("2-units")
    assert "This test looked back over 8 units; “Test again” looks back over 2 units." in other
    again = shown("2-units", "line-backtest-run.n_clicks")
    assert "looked back" not in usual + again
    assert again != usual


@pytest.fixture
def stopped(monkeypatch):
    """Tests of old projections and comparisons last until they are stopped, which is told."""
    told, enough = threading.Event(), threading.Event()

    def until_stopped(*given, on_case=None):
        report = on_case or given[-1]
        while report(1, 9):
            if enough.wait(0.01):
                return
        told.set()

    monkeypatch.setattr(LineAnswers, "backtest", until_stopped)
    monkeypatch.setattr(LineAnswers, "whatif", until_stopped)
    monkeypatch.setattr(line_whatif, "AT_ONCE_S", 0.0)
    yield told
    enough.set()


@pytest.mark.parametrize("part", ["line-backtest", "whatif"])
def test_a_cancel_that_comes_with_a_tick_of_the_clock_is_heard(call, stopped, part):
    output = {"line-backtest": "line-backtest.children", "whatif": "whatif-answer.children"}[part]
    call(output, changed=f"{part}-run.n_clicks", **{f"{part}-run.n_clicks": 1})
    together = {f"{part}-poll.n_intervals": 3, f"{part}-cancel.n_clicks": 1}
    call(output, changed=list(together), **together)
    assert stopped.wait(60)


def test_map_and_chart_outline_the_same_units(project, call, monkeypatch):
    outlined = []
    draw = line_chart.time_station_chart

    def drawn(cells, names, seen, **more):
        outlined.append(set(seen.lagging))
        return draw(cells, names, seen, **more)

    monkeypatch.setattr(line_chart, "time_station_chart", drawn)
    call("line-chart.figure", **{
        "line-heading.value": ALL, "line-activity.value": "rebar", "line-seq.data": 1,
        "line-chosen.data": {"unit": "", "units": []}, "line-screen.data": WIDE,
    })  # fmt: skip
    on_map = {
        (project.job.spans["unit"].iloc[span], activity)
        for activity, spans in project.line.lagging_spans().items()
        for span in spans
    }
    assert outlined == [on_map]
    by_themselves = project.lag().lagging
    # Some lag only with their whole heading.
    assert on_map > set(zip(by_themselves["unit"], by_themselves["activity"], strict=True))


def test_the_map_is_told_which_spans_lag_on_the_day_it_shows(project, call):
    settled = {"activity": "rebar", "date": "2026-11-20"}
    answer = call("lag.data", **{"settled.data": settled, "outlines.value": ["lag"]}).get_json()
    store = answer["response"]["lag"]["data"]
    assert store["hash"] == project.footprints.hash
    assert str(project.days().days[store["day"]]) == "2026-11-20"
    units = project.lag(end_of_day(dt.date(2026, 11, 20))).units
    rebar = units[units["activity"] == "rebar"]
    alone, together = rebar["behind_pace"] >= 1, rebar["slow_heading_costs_days"] > 0
    assert together.any() and not (alone & together).any()
    units = set(rebar.loc[alone | together, "unit"])
    spans = project.job.spans
    assert set(spans.loc[store["spans"]["rebar"], "unit"]) == units
    hidden = call("lag.data", **{"settled.data": settled, "outlines.value": []})
    assert changed_by(hidden) == {}


def test_nobody_asks_the_map_for_lag_in_the_next_century(project, call, monkeypatch):
    asked = []
    monkeypatch.setattr(type(project.line), "lagging_spans", lambda _, at: asked.append(at) or {})
    settled = {"activity": "rebar", "date": "2199-12-31"}
    call("lag.data", **{"settled.data": settled, "outlines.value": ["lag"]})
    assert asked == [end_of_day(project.now().date())]


def test_every_callback_of_the_page_has_its_right(app):
    from dashboard.access import CALLBACKS, callback_name

    asked = {callback_name(output) for output, one in app.callback_map.items() if "callback" in one}
    assert asked <= set(CALLBACKS)


# Computed once


def test_the_forecast_is_computed_once_however_many_charts_ask(project, monkeypatch):
    computed = []
    original = line_answers.project_finish
    monkeypatch.setattr(
        line_answers, "project_finish", lambda *a, **k: computed.append(1) or original(*a, **k)
    )
    asking = [threading.Thread(target=project.forecast) for _ in range(4)]
    for one in asking:
        one.start()
    for one in asking:
        one.join()
    project.line.time_station()
    project.line.starving()
    assert len(computed) == 1


def test_what_is_at_hand_is_given_while_another_question_is_worked_out(project, monkeypatch):
    at_hand = project.forecast()
    begun, go_on = threading.Event(), threading.Event()
    looking = line_answers.lag

    def slow(*job, **more):
        begun.set()
        assert go_on.wait(20)
        return looking(*job, **more)

    monkeypatch.setattr(line_answers, "lag", slow)
    who_lags = threading.Thread(target=project.lag)
    who_lags.start()
    assert begun.wait(20)
    asked = threading.Thread(target=lambda: given.append(project.forecast()))
    given = []
    asked.start()
    asked.join(20)
    go_on.set()
    who_lags.join()
    assert given == [at_hand]


# Old projections, in the background


def test_one_job_runs_at_a_time_and_keeps_its_answer():
    go_on = threading.Event()

    def work(report):
        report(1, 4)
        go_on.wait(10)
        return "done with care"

    job = OneJob()
    assert job.start(work, key=7)
    assert not job.start(work)
    go_on.set()
    job.wait(10)
    ended = job.progress()
    assert (ended.condition, ended.answer, ended.key) == ("done", "done with care", 7)


def test_a_stopped_job_keeps_what_it_had_apart_from_the_answer_before():
    reached, stop_asked = threading.Event(), threading.Event()

    def work(report):
        reached.set()
        stop_asked.wait(10)
        return "half" if not report(2, 4) else "whole"

    job = OneJob()
    job.start(lambda report: "first")
    job.wait(10)
    job.start(work)
    assert reached.wait(10)
    job.stop()
    stop_asked.set()
    job.wait(10)
    ended = job.progress()
    assert (ended.condition, ended.answer, ended.cut_short) == ("stopped", "first", "half")
    assert (ended.done, ended.total, ended.share) == (2, 4, 0.5)


def test_who_waits_for_a_job_just_starting_never_meets_a_thread_not_begun(monkeypatch):
    job, met = OneJob(), []

    def try_to_wait():
        try:
            job.wait(0)
        except RuntimeError as error:
            met.append(error)

    class Starting(threading.Thread):
        """Somebody waits for it between its making and its start."""

        def start(self):
            other = WAITER(target=try_to_wait)
            other.start()
            other.join(0.2)
            super().start()
            waiting.append(other)

    WAITER, waiting = threading.Thread, []
    monkeypatch.setattr(one_job.threading, "Thread", Starting)
    job.start(lambda report: "done")
    for other in waiting:
        other.join(10)
    assert met == []


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_job_that_breaks_is_not_said_to_run_for_ever():
    def work(report):
        raise RuntimeError("out of order")

    job = OneJob()
    job.start(work)
    job.wait(10)
    assert job.progress().condition == "failed"


# What if


def a_form(**case):
    empty = dict.fromkeys(FIELDS)
    return [value for form in (case, {}, {}, {}) for value in {**empty, **form}.values()]


def test_a_case_without_a_name_is_left_out():
    assert changes_of(a_form(crews=2, activity="rebar")) == []
    assert len(a_form()) == MOST_CASES * len(FIELDS)


def test_the_form_reads_as_the_change_it_says():
    form = a_form(name=" Two crews ", heading="W_from_west", activity="rebar", crews=2, cycle=4.5,
                  sets=6, week="six", weather="0.5", order="W_new: W14, W13")  # fmt: skip
    assert changes_of(form) == [
        Change("Two crews", cycles={("W_from_west", "rebar"): 4.5},
               crews={("W_from_west", "rebar"): 2}, falsework_sets={"W_from_west": 6},
               workdays=("Mon", "Tue", "Wed", "Thu", "Fri", "Sat"), weather=0.5,
               order={"W_new": ("W14", "W13")})
    ]  # fmt: skip


def test_an_order_without_a_heading_is_of_the_one_chosen_in_where():
    chosen = a_form(name="Turn", heading="W_from_west", order="W14, W13; W12; W_new: W11")
    assert changes_of(chosen)[0].order == {
        "W_from_west": ("W14", "W13", "W12"), "W_new": ("W11",)
    }  # fmt: skip


def test_an_order_on_no_heading_at_all_is_refused_in_words(call):
    answer = compared(call, a_form(name="Turn", order="W14, W13"))
    assert "on no heading. Name one of" in words_of(answer)


def test_a_new_heading_is_said_to_be_new_in_the_table(project, call):
    west = next(h for h in project.job.headings if h.key == "W_from_west")
    last, one_before = west.units[:-3:-1]
    answer = compared(call, a_form(name="Far end", order=f"W_new: {last}, {one_before}"))
    assert f"W_new is a new heading: 2 units from {last} on" in words_of(answer)


def test_no_lost_days_is_a_change_and_not_taken_for_a_blank():
    assert changes_of(a_form(name="Dry", weather="0"))[0].weather == 0.0


def values_of(form):
    names = [field_id(name, case) for case in range(MOST_CASES) for name in FIELDS]
    return {f"{name}.value": value for name, value in zip(names, form, strict=True)}


def compared(call, form):
    """Press Compare, then ask until it has ended, as the page does."""
    pressed = {**values_of(form), "line-screen.data": WIDE, "whatif-run.n_clicks": 1}
    answer = call("whatif-answer.children", changed="whatif-run.n_clicks", **pressed)
    asked = answer.get_json()["response"]["whatif-asked"]["data"]
    for _ in range(100):
        if answer.get_json()["response"]["whatif-poll"]["disabled"]:
            break
        again = {"whatif-asked.data": asked, "line-screen.data": WIDE}
        answer = call("whatif-answer.children", changed="whatif-poll.n_intervals", **again)
    return answer


def test_cases_are_compared_side_by_side_and_the_log_stays_as_it_is(project, call):
    before = project.last_seq()
    form = a_form(name="Six-day week", week="six")
    answer = compared(call, form)
    assert "as it is" in words_of(answer)
    assert "Six-day week" in words_of(answer)
    assert project.last_seq() == before


def test_a_case_that_does_not_fit_says_what_and_how_to_put_it_right(call):
    answer = compared(call, a_form(name="Odd", order="W_new: X99"))
    assert "'X99' is no unit" in words_of(answer)


def test_saved_cases_are_a_file_that_the_command_reads_back(project, call, tmp_path):
    form = a_form(name="Second crew", heading="W_from_west", activity="rebar", crews=2)
    saved = call("whatif-file.data", **values_of(form)).get_json()["response"]["whatif-file"]
    target = tmp_path / saved["data"]["filename"]
    target.write_text(saved["data"]["content"])
    assert project.whatif_file(target) == project.whatif(changes_of(form))


def test_the_table_says_sooner_and_later_in_calendar_days():
    band = Band(DAY - dt.timedelta(days=9), DAY, DAY, DAY + dt.timedelta(days=9))
    cases = tuple(Case(name, band, {}, days, {"h1": 3}, 1.25, 960.0)
                  for name, days in (("as it is", 0), ("Quick", 12), ("Slow", -1)))  # fmt: skip
    said = text_of(whatif_table(WhatIf(DAY, 100, 1, cases)))
    assert "12 calendar days" in said
    assert "1 calendar day later" in said
    assert "h1: 3" in said
    assert f"{date_words(band.p10)} to {date_words(band.p90)}" in said
