"""A judge who keeps what he read says the same as one who reads everything again."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from unittest.mock import patch

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from model.acceptance import get_ready, judge
from model.events import Event
from model.problems import Problem, RefusedEvents, errors_only
from model.sequence import Line, Remark, Replay, Told
from model.store.memory import MemoryStore
from model.unit_log import LogView, UnitLog, view_of
from tests.model.builders import ACTIVITIES, NOW, a_frame, a_job, an_event, done

JOB = a_job(units=2, spans=2, planned=[("E01", "", "falsework", 100.0)])
MEASURE_UNIT = {"falsework": "m2", "bottom_slab_stems": "m3", "deck_forms": "m2", "rebar": "kg"}

WORDS = st.tuples(
    st.sampled_from(["start", "start", "place", "finish", "finish", "hold", "resume", "reopen",
                     "note", "void"]),
    st.sampled_from(["falsework", "falsework", "bottom_slab_stems", "deck_forms"]),
    st.sampled_from(["E01", "E01", "E02"]),
    st.sampled_from(["", "", "1", "2"]),
    st.integers(-5, 8),
)  # fmt: skip
BATCHES = st.lists(
    st.tuples(st.booleans(), st.lists(WORDS, min_size=1, max_size=3)), min_size=5, max_size=25
)
"""Whether the judge sees it come, and what happened: kind, where, and hours after the last."""


class Site:
    """A log whose judge keeps what he read, with an open book beside it."""

    def __init__(self) -> None:
        self.line = Line(JOB)
        self.log = MemoryStore(lambda: dt.datetime(2027, 1, 4, 20, tzinfo=dt.UTC))
        self.said: list[Problem] = []

    def told(self) -> list[Event]:
        return self.log.events()

    def judge(self, new: Sequence[Event], held: LogView) -> list[Problem]:
        self.said = judge(new, held, JOB, now_local=NOW, line=self.line)
        return self.said

    def afresh(self, events: Sequence[Event]) -> list[Problem]:
        """Say what one would who replays all of every unit, for every batch."""
        with patch.object(Replay, "takes", lambda *_: False):
            return judge(events, a_frame(*self.told()), JOB, now_local=NOW)

    def send(self, *events: Event) -> bool:
        """Send a batch; hold what is said of it against what a stranger would say."""
        afresh = self.afresh(events)
        try:
            self.log.append(events, judge=self.judge)
        except RefusedEvents:
            assert self.said == afresh
            return False
        assert self.said == afresh
        return True


def an_event_of(words: tuple[str, str, str, str, int], number: int, site: Site) -> Event:
    kind, activity, unit, span, hours = words
    at = dt.datetime(2026, 3, 2) + dt.timedelta(hours=2 * number + hours)
    name = f"e{number}"
    if kind == "void":
        told = site.told()
        target = told[hours % len(told)].event_id if told else "none"
        return an_event("void", at, "", "", event_id=name, voids=target)
    grain = JOB.activity_by_key[activity].grain
    more = {"quantity": 40, "measure_unit": MEASURE_UNIT[activity]} if kind == "place" else {}
    return an_event(kind, at, unit, activity, span if grain == "span" else "", event_id=name,
                    **more)  # fmt: skip


@settings(deadline=None)
@given(BATCHES)
def test_what_was_kept_and_what_is_read_again_lead_to_the_same_verdict(batches):
    site, number = Site(), 0
    for seen, batch in batches:
        events = [an_event_of(words, number + n, site) for n, words in enumerate(batch)]
        number += len(events)
        if seen:
            site.send(*events)
        elif not errors_only(site.afresh(events)):
            site.log.append(events)  # by another program


def test_a_refused_batch_leaves_no_trace_in_what_is_kept():
    site = Site()
    start, wrong = an_event("start"), an_event("start", unit="X99")
    assert not site.send(start, wrong)
    assert site.send(start)
    assert not site.send(an_event("start", "2026-03-03 08:00"))


def test_an_event_corrected_elsewhere_is_judged_by_what_it_says_there():
    site = Site()
    site.send(an_event("note"))
    site.send(an_event("hold", event_id="same"), an_event(unit="X99"))
    site.log.append([an_event("start", event_id="same")])  # by another program
    assert not site.send(an_event("start", "2026-03-03 08:00"))
    assert site.send(an_event("hold", "2026-03-03 08:00"))


def test_a_start_that_shows_a_finish_came_too_early_is_found():
    site = Site()
    assert site.send(an_event("finish", "2026-03-03 08:00"))
    assert site.send(an_event("reopen", "2026-03-04 08:00"))
    assert not site.send(an_event("start", "2026-03-05 08:00"))


def test_late_news_is_held_against_the_trade_before_and_after():
    site = Site()
    for event in done("falsework", finish="2026-03-04 15:00"):
        assert site.send(event)
    early = {"unit": "E01", "activity": "bottom_slab_stems"}
    assert not site.send(an_event("finish", "2026-03-04 12:00", **early))
    assert site.send(an_event("start", "2026-03-05 08:00", **early))
    assert not site.send(an_event("reopen", "2026-03-04 18:00"))


def test_only_what_is_added_is_replayed(monkeypatch: pytest.MonkeyPatch):
    site = Site()
    site.log.append(done("falsework"))
    replayed: list[int] = []
    go_on = Replay.go_on

    def count(self: Replay, history: Iterable[Told]) -> list[Remark]:
        history = list(history)
        replayed.append(len(history))
        return go_on(self, history)

    monkeypatch.setattr(Replay, "go_on", count)
    for day in range(10, 20):
        kind = "resume" if day % 2 else "hold"
        event = an_event(kind, dt.datetime(2026, 3, day), activity="bottom_slab_stems")
        site.log.append([event], judge=site.judge)
    assert site.said == []
    assert replayed == [2, *[1] * 10]  # what there was, then each event once


def test_units_can_be_made_ready_before_anybody_sends():
    site = Site()
    site.log.append(done("falsework"))
    site.log.look(lambda log: get_ready(log, ["E01", "E02"], site.line))
    kept: list[object] = []
    site.log.look(lambda log: kept.append(log.unit("E01").kept))
    assert isinstance(kept[0].so_far, Replay)  # type: ignore[attr-defined]
    assert not site.send(an_event("start", "2026-03-20 08:00"))


def test_events_of_activities_far_apart_need_not_come_in_order():
    line = Line(JOB)
    names = [activity.key for activity in ACTIVITIES]
    akin = {names[here]: {names[c] for c in near} for here, near in enumerate(line.akin)}
    assert akin["falsework"] == {"falsework", "bottom_slab_stems"}
    assert akin["rebar"] == {"deck_forms", "rebar", "deck_pour"}


def test_a_frame_is_seen_as_the_units_it_holds():
    start, other = an_event("start", unit="E01"), an_event("start", unit="E02")
    void = an_event("void", unit="", activity="", voids=other.event_id)
    view = view_of(a_frame(start, other, void))
    assert [e.event_id for e in view.unit("E02").events] == [other.event_id, void.event_id]
    assert view.unit("E02").void == {other.event_id}
    assert view.find(void.event_id).voids == other.event_id
    assert view.find("unheard of") is None
    assert view_of(view) is view


def test_a_unit_tells_what_came_after_a_number():
    log = UnitLog(an_event(seq=seq) for seq in (3, 7, 8))
    assert [event.seq for event in log.since(3)] == [7, 8]
    assert log.since(8) == []
