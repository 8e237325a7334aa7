"""A forecast that takes long on the pages: how far it is, stopped, and worked out again."""

from __future__ import annotations

import datetime as dt
import threading

import pytest

from dashboard.parts import forecast_wait
from model import lag, line_answers
from model.clock import end_of_day
from model.events import Event
from model.projection import PATHS
from tests.dashboard.conftest import words_of

DAY = "2026-11-20"
SETTLED = {"settled.data": {"activity": "deck_pour", "date": DAY}, "seen-seq.data": 1}
BLOCK = 3_000
PATIENCE_S = 120
"""How long to wait for what a loaded machine works out, before it counts as stuck."""


class Marching:
    """A forecast that goes on block by block, each when it is let."""

    def __init__(self, original):
        self.original = original
        self.blocks, self.told = threading.Semaphore(0), threading.Semaphore(0)
        self.calls = 0

    def __call__(self, *job, paths, on_block=None, **more):
        self.calls += 1
        done = paths
        for done in range(BLOCK, paths, BLOCK):
            assert self.blocks.acquire(timeout=PATIENCE_S)
            go_on = on_block(done, paths)
            self.told.release()
            if not go_on:
                return self.original(*job, paths=done, **more)
        return self.original(*job, paths=paths, **more)


@pytest.fixture
def marching(monkeypatch, project):
    """Every forecast is a long one that is not done at once."""
    one = Marching(line_answers.project_finish)
    monkeypatch.setattr(line_answers, "LONG_CELLS", 1)
    monkeypatch.setattr(line_answers, "project_finish", one)
    monkeypatch.setattr(forecast_wait, "AT_ONCE_S", 0.0)
    yield one
    one.blocks.release(100)
    project.line.watched.wait(PATIENCE_S)


def go_on(marching, blocks):
    """Let some blocks be marched, and be told of."""
    for _ in range(blocks):
        marching.blocks.release()
        assert marching.told.acquire(timeout=PATIENCE_S)


def asked(call, pressed=None):
    changed = f"finish-wait-{pressed}" if pressed else None
    pressed_once = {changed: 1} if changed else {}
    answer = call("cycle-card.children", changed=changed, **SETTLED, **pressed_once)
    return answer.get_json()["response"]


def test_a_small_job_is_answered_at_once_and_shows_no_wait(call):
    answer = asked(call)
    assert "as likely as not" in str(answer) or "% sure by" in str(answer)
    assert answer["finish-wait"]["hidden"]
    assert answer["finish-wait-poll"]["disabled"]


def test_a_long_forecast_says_how_far_it_is_with_a_bar_and_can_be_cancelled(
    project, call, marching
):
    first = asked(call)
    assert first["finish-card"]["children"]["props"]["children"][1]["props"]["children"] == "…"
    assert not first["finish-wait"]["hidden"]
    go_on(marching, 1)
    polled = asked(call, "poll.n_intervals")
    assert "finish-card" not in polled, "what stands on the cards is left alone"
    assert "3,000 of 10,000 marches" in str(polled["finish-wait-words"])
    assert "progressbar" in str(polled["finish-wait-words"])
    assert not polled["finish-wait-cancel"]["disabled"]
    assert not polled["finish-wait-poll"]["disabled"]


def test_while_a_grown_log_is_worked_through_the_dates_before_stay(project, call, marching):
    answer = call("cycle-card.children", changed="seen-seq.data", **SETTLED).get_json()["response"]
    assert "finish-card" not in answer
    assert not answer["finish-wait"]["hidden"]


def note(project, text):
    """Record something that moves no date."""
    project.record([a_note(project, text)])


def a_note(project, text):
    now = project.now().replace(tzinfo=None)
    return Event(event_id=f"note-{text}", at=now, by="R. Alder", unit="W07", activity="rebar",
                 kind="note", note=text)  # fmt: skip


def finish_all(project, marching):
    """Let the job that runs come to its end."""
    marching.blocks.release(3)
    project.line.watched.wait(PATIENCE_S)
    while marching.told.acquire(blocking=False):
        pass


def test_who_writes_does_not_keep_the_dates_from_who_reads(project, call, marching):
    asked(call)
    for number in range(3):
        note(project, f"{number}")
        finish_all(project, marching)
        polled = asked(call, "poll.n_intervals")
        assert "% sure by" in str(polled["finish-card"])
        assert "before the latest event recorded" in str(polled["finish-wait-words"])
        assert not polled["finish-wait-poll"]["disabled"]
    finish_all(project, marching)
    whole = asked(call, "poll.n_intervals")
    assert whole["finish-wait"]["hidden"]
    assert marching.calls == 4


def test_the_dates_shown_meanwhile_are_of_the_newest_log_that_has_them(project, call, marching):
    asked(call)
    finish_all(project, marching)
    note(project, "first")
    note(project, "second")
    answer = asked(call)
    assert "before the latest 2 events recorded" in str(answer["finish-wait-words"])
    assert project.line.shown(end_of_day(dt.date.fromisoformat(DAY))).behind() == 2
    assert project.line.shown(end_of_day(dt.date(2026, 10, 2))) is None


def look(call, pressed=None, *, seen):
    """What an open line page is told when it asks whether there is more."""
    changed = f"line-newer-wait-{pressed}" if pressed else "line-refresh.n_intervals"
    given = {changed: 1, "line-seq.data": seen}
    answer = call("line-seq.data", changed=changed, **given)
    return answer.get_json()["response"] if answer.status_code == 200 else {}


def a_line_page_that_fell_behind(project, call, marching):
    """A line page with all on it, and one event since; return what it has seen."""
    line_page(call)
    finish_all(project, marching)
    assert "Lags most" in words_of(line_page(call, "poll.n_intervals"))
    seen = project.last_seq()
    note(project, "one more")
    shown = words_of(call("page.children", **{"url.pathname": "/line", "url.search": ""}))
    assert "Lags most" in shown
    return seen


def test_a_line_page_stays_while_a_grown_log_is_worked_through(project, call, marching):
    seen = a_line_page_that_fell_behind(project, call, marching)
    first = look(call, seen=seen)
    assert "line-seq" not in first, "nothing newer is at hand yet"
    assert "before the latest event recorded" in str(first["line-newer-wait-words"])
    assert not first["line-newer-wait"]["hidden"]
    go_on(marching, 1)
    polled = look(call, "poll.n_intervals", seen=seen)
    assert "3,000 of 10,000 marches" in str(polled["line-newer-wait-words"])
    finish_all(project, marching)
    newer = look(call, "poll.n_intervals", seen=seen)
    assert newer["line-seq"] == {"data": seen + 1}
    assert newer["line-newer-wait"]["hidden"]
    assert newer["line-newer-wait-poll"]["disabled"]
    assert look(call, seen=seen + 1) == {}, "all is told"


def test_an_open_line_page_can_stop_what_a_grown_log_has_it_work_through(project, call, marching):
    seen = a_line_page_that_fell_behind(project, call, marching)
    assert not look(call, seen=seen)["line-newer-wait-cancel"]["disabled"]
    look(call, "cancel.n_clicks", seen=seen)
    marching.blocks.release(1)
    project.line.watched.wait(PATIENCE_S)
    for pressed in ("poll.n_intervals", None):
        stopped = look(call, pressed, seen=seen)
        assert "line-seq" not in stopped
        assert forecast_wait.OLDER_STAYS in str(stopped["line-newer-wait-words"])
        assert not stopped["line-newer-wait-again"]["disabled"]
    assert not project.line.watched.progress().running, "it is not begun again by itself"
    assert not look(call, "again.n_clicks", seen=seen)["line-newer-wait-cancel"]["disabled"]
    finish_all(project, marching)
    assert look(call, seen=seen)["line-newer-wait"]["hidden"]


def test_what_was_stopped_is_worked_through_when_still_more_is_recorded(project, call, marching):
    seen = a_line_page_that_fell_behind(project, call, marching)
    look(call, seen=seen)
    look(call, "cancel.n_clicks", seen=seen)
    marching.blocks.release(1)
    project.line.watched.wait(PATIENCE_S)
    note(project, "and another")
    words = str(look(call, seen=seen)["line-newer-wait-words"])
    assert "before the latest 2 events recorded" in words


def test_a_line_page_that_looks_back_otherwise_waits_for_its_own_dates(project, call, marching):
    search = "?back=4-units"
    line_page(call, search=search)
    assert project.line.watched.progress().asked.recent.units == 4
    finish_all(project, marching)
    shown = words_of(line_page(call, "poll.n_intervals", search=search))
    assert "Lags most" in shown
    assert marching.calls == 1


def test_cancel_stops_no_forecast_but_the_one_it_was_shown_for(project, call, marching):
    asked(call)
    other = {"settled.data": {"activity": "deck_pour", "date": "2026-10-02"}, "seen-seq.data": 1}
    answer = call(
        "cycle-card.children",
        changed="finish-wait-cancel.n_clicks",
        **other,
        **{"finish-wait-cancel.n_clicks": 1},
    ).get_json()["response"]
    assert answer["finish-wait-cancel"]["disabled"]
    assert forecast_wait.ANOTHER_FIRST in str(answer["finish-wait-words"])
    go_on(marching, 1)
    assert project.line.watched.progress().running
    asked(call, "cancel.n_clicks")
    marching.blocks.release(1)
    project.line.watched.wait(PATIENCE_S)
    assert project.line.watched.progress().condition == "stopped"


def test_a_stopped_forecast_gives_the_dates_of_the_marches_done_and_says_so(
    project, call, marching
):
    asked(call)
    project.line.watched.stop()
    marching.blocks.release(1)
    project.line.watched.wait(PATIENCE_S)
    stopped = asked(call, "poll.n_intervals")
    assert "Stopped after 3,000 of 10,000 marches" in str(stopped["finish-wait-words"])
    assert forecast_wait.FROM_THOSE in str(stopped["finish-wait-words"])
    assert "% sure by" in str(stopped["finish-card"])
    assert not stopped["finish-wait-again"]["disabled"]
    assert stopped["finish-wait-poll"]["disabled"]
    # It is not begun again by itself, nor taken for the whole one.
    assert marching.calls == 1
    assert project.line.takes_long(end_of_day(dt.date.fromisoformat(DAY)))


def test_a_stopped_forecast_is_worked_out_when_asked_again_and_then_held(project, call, marching):
    asked(call)
    project.line.watched.stop()
    marching.blocks.release(1)
    project.line.watched.wait(PATIENCE_S)
    assert not asked(call, "again.n_clicks")["finish-wait-poll"]["disabled"]
    marching.blocks.release(3)
    project.line.watched.wait(PATIENCE_S)
    whole = asked(call, "poll.n_intervals")
    assert whole["finish-wait"]["hidden"]
    assert "% sure by" in str(whole["finish-card"])
    held = project.forecast(end_of_day(dt.date.fromisoformat(DAY)))
    assert (held.paths, marching.calls) == (PATHS, 2)


def line_page(call, pressed=None, search=""):
    changed = f"line-wait-{pressed}" if pressed else None
    pressed_once = {changed: 1} if changed else {}
    return call("line-whole.children", changed=changed, **{"line-search.data": search},
                **pressed_once)  # fmt: skip


def test_the_line_page_comes_once_the_forecast_and_who_lags_are_there(project, call, marching):
    first = words_of(call("page.children", **{"url.pathname": "/line", "url.search": "?unit=W07"}))
    assert "line-wait-words" in first
    assert "Lags most" not in first
    line_page(call, search="?unit=W07")
    go_on(marching, 2)
    assert "6,000 of 10,000 marches" in words_of(line_page(call, "poll.n_intervals"))
    marching.blocks.release(2)
    project.line.watched.wait(PATIENCE_S)
    shown = words_of(line_page(call, "poll.n_intervals", search="?unit=W07"))
    assert "Lags most" in shown
    assert '"unit": "W07"' in shown
    assert marching.calls == 1
    again = words_of(call("page.children", **{"url.pathname": "/line", "url.search": ""}))
    assert "Lags most" in again


def test_a_line_page_that_was_cancelled_shows_nothing_half_done_and_offers_to_go_on(
    project, call, marching
):
    line_page(call)
    line_page(call, "cancel.n_clicks")
    marching.blocks.release(1)
    project.line.watched.wait(PATIENCE_S)
    stopped = line_page(call, "poll.n_intervals").get_json()["response"]
    assert "line-whole" not in stopped
    assert forecast_wait.NOTHING_YET in str(stopped["line-wait-words"])
    assert not stopped["line-wait-again"]["disabled"]


def test_one_who_asks_for_another_day_meanwhile_waits_for_the_turn(project, call, marching):
    asked(call)
    other = {"settled.data": {"activity": "deck_pour", "date": "2026-10-02"}, "seen-seq.data": 1}
    first = call("cycle-card.children", **other).get_json()["response"]
    assert not first["finish-wait-poll"]["disabled"]
    marching.blocks.release(3)
    project.line.watched.wait(PATIENCE_S)
    call(
        "cycle-card.children",
        changed="finish-wait-poll.n_intervals",
        **other,
        **{"finish-wait-poll.n_intervals": 1},
    )
    marching.blocks.release(3)
    project.line.watched.wait(PATIENCE_S)
    assert not project.line.takes_long(end_of_day(dt.date(2026, 10, 2)))


def test_who_lags_is_left_off_when_cancelled_while_it_is_worked_out(
    project, call, marching, monkeypatch
):
    begun, let = threading.Semaphore(0), threading.Semaphore(0)

    def slow(*job, on_row=None, **more):
        def row(done, rows):
            begun.release()
            assert let.acquire(timeout=PATIENCE_S)
            return on_row(done, rows)

        return lag.lag(*job, on_row=row, **more)

    monkeypatch.setattr(line_answers, "lag", slow)
    line_page(call)
    marching.blocks.release(3)
    assert begun.acquire(timeout=PATIENCE_S)
    line_page(call, "cancel.n_clicks")
    let.release()
    project.line.watched.wait(PATIENCE_S)
    stopped = line_page(call, "poll.n_intervals").get_json()["response"]
    assert "line-whole" not in stopped
    assert line_answers.WHO_LAGS in str(stopped["line-wait-words"])
    assert not stopped["line-wait-again"]["disabled"]
    assert project.line.takes_long(lag=True)
    assert not project.line.takes_long(), "the dates were whole before"


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_forecast_that_breaks_is_said_to_and_not_begun_over_and_over(project, call, monkeypatch):
    def breaks(*_, **__):
        raise ArithmeticError("no such day")

    monkeypatch.setattr(line_answers, "LONG_CELLS", 1)
    monkeypatch.setattr(line_answers, "project_finish", breaks)
    asked(call)
    project.line.watched.wait(PATIENCE_S)
    failed = asked(call, "poll.n_intervals")
    assert "ended without an answer" in str(failed["finish-wait-words"])
    assert failed["finish-wait-poll"]["disabled"]


def test_a_cancel_that_comes_with_a_tick_of_the_clock_stops_the_forecast(project, call, marching):
    asked(call)
    together = {"finish-wait-poll.n_intervals": 7, "finish-wait-cancel.n_clicks": 1}
    call("cycle-card.children", changed=list(together), **SETTLED, **together)
    marching.blocks.release(1)
    project.line.watched.wait(PATIENCE_S)
    assert project.line.watched.progress().condition == "stopped"


def test_a_cancel_that_comes_with_a_look_for_more_is_heard_on_an_open_line_page(
    project, call, marching
):
    seen = a_line_page_that_fell_behind(project, call, marching)
    look(call, seen=seen)
    together = {"line-refresh.n_intervals": 3, "line-newer-wait-cancel.n_clicks": 1}
    call("line-seq.data", changed=list(together), **together, **{"line-seq.data": seen})
    marching.blocks.release(1)
    project.line.watched.wait(PATIENCE_S)
    assert project.line.watched.progress().condition == "stopped"


def test_another_day_that_comes_with_a_tick_of_the_clock_takes_the_old_dates_away(call, marching):
    asked(call)
    together = {"finish-wait-poll.n_intervals": 7, "settled.data": SETTLED["settled.data"]}
    answer = call("cycle-card.children", changed=list(together), **{**SETTLED, **together})
    assert "…" in str(answer.get_json()["response"]["finish-card"])
