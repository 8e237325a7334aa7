"""What every store promises, as one body of tests.

A store's own test file says how to open it and adds its own cases.
"""

from __future__ import annotations

import dataclasses
import datetime as dt
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from decimal import Decimal
from itertools import chain
from unittest.mock import patch

import pandas as pd
import pytest

from model.clock import Clock, utc_now
from model.events import EVENT_COLUMNS, Event
from model.problems import Problem, RefusedEvents, StoreError
from model.store import Store
from model.store.group import Pending
from model.unit_log import LogView
from tests.model.builders import a_frame, an_event

Open = Callable[[], Store]
NOON = dt.datetime(2026, 3, 2, 20, 0, tzinfo=dt.UTC)


class SetClock:
    """A clock that shows what a test sets it to."""

    def __init__(self) -> None:
        self.moment = NOON

    def __call__(self) -> dt.datetime:
        return self.moment


def ids(events: object) -> list[str]:
    return [event.event_id for event in events]  # type: ignore[attr-defined]


def refuse(*_: object) -> list[Problem]:
    return [Problem("event", "No.", "Never.")]


class StorePromises:
    """Tests of a store; a subclass gives ``open_log(clock)`` as a fixture."""

    @pytest.fixture
    def clock(self) -> SetClock:
        return SetClock()

    @pytest.fixture
    def log(self, open_log: Callable[[Clock], Store], clock: SetClock) -> Iterator[Store]:
        with open_log(clock) as log:
            yield log

    # Writing and reading

    def test_a_new_log_is_empty(self, log: Store):
        assert log.last_seq() == 0
        assert log.events() == []
        assert list(log.frame().columns) == list(EVENT_COLUMNS)
        assert len(log.frame()) == 0

    def test_events_come_back_as_they_were_told(self, log: Store):
        told = an_event(
            "place", "2026-03-02 08:15", unit="É'01", span="2", quantity="12.50",
            measure_unit="yd3", reason='"; DROP TABLE events; --', note="två\nrader\t…",
            by="Ø. Hansen",
        )  # fmt: skip
        log.append([told])
        back = log.events()[0]
        assert dataclasses.replace(back, seq=None, recorded_at=None) == told
        assert str(back.quantity) == "12.50"

    @pytest.mark.parametrize("typed", ["12.50", "0.1", "1E+2", "100000000000000000000.001"])
    def test_digits_are_kept_exactly_as_typed(self, log: Store, typed: str):
        log.append([an_event("place", quantity=typed)])
        assert str(log.events()[0].quantity) == str(Decimal(typed)) == typed

    def test_frames_have_their_columns_and_types(self, log: Store, clock: SetClock):
        events = [an_event("start"), an_event("place", quantity="12.5"), an_event("hold")]
        log.append(events)
        expected = a_frame(*(dataclasses.replace(e, recorded_at=clock.moment) for e in events))
        pd.testing.assert_frame_equal(log.frame(), expected)

    def test_an_empty_frame_has_the_same_types(self, log: Store):
        pd.testing.assert_frame_equal(log.frame(), a_frame())

    def test_seq_counts_from_one_without_gaps(self, log: Store):
        first = log.append([an_event(), an_event()])
        with pytest.raises(RefusedEvents):
            log.append([an_event()], judge=refuse)
        second = log.append([an_event()])
        assert [event.seq for event in (*first.accepted, *second.accepted)] == [1, 2, 3]
        assert log.last_seq() == 3

    def test_only_what_came_after_is_read(self, log: Store):
        events = [an_event() for _ in range(5)]
        log.append(events)
        assert ids(log.events(after_seq=3)) == ids(events[3:])
        assert list(log.frame(after_seq=3)["seq"]) == [4, 5]
        assert len(log.frame(after_seq=5)) == 0

    def test_one_units_events_are_read_alone(self, log: Store):
        events = [an_event(unit=unit) for unit in ("E01", "E02", "E01")]
        log.append(events)
        assert ids(log.events(unit="E01")) == [events[0].event_id, events[2].event_id]
        assert ids(log.events(1, unit="E01")) == [events[2].event_id]

    def test_one_units_events_come_with_a_void_that_names_no_unit(self, log: Store):
        start, other = an_event(unit="E01"), an_event(unit="E02")
        void = an_event("void", unit="", activity="", voids=start.event_id)
        log.append([start, other, void])
        assert ids(log.events(unit="E01")) == [start.event_id, void.event_id]
        assert ids(log.events(unit="E02")) == [other.event_id]

    def test_a_frame_that_was_handed_out_can_be_spoiled_without_harm(self, log: Store):
        log.append([an_event(unit="E01")])
        frame = log.frame()
        frame["unit"] = "spoiled"
        frame.loc[0, "by"] = "spoiled"
        assert list(log.frame()["unit"]) == ["E01"]
        assert "spoiled" not in list(log.frame()["by"])

    def test_an_empty_batch_is_no_work(self, log: Store):
        assert log.append([]).accepted == ()

    # Repeats

    def test_an_event_sent_twice_is_kept_once(self, log: Store):
        event = an_event("place", quantity="12.50")
        log.append([event])
        again = log.append([event, an_event()])
        assert again.repeated == (event.event_id,)
        assert len(again.accepted) == 1
        assert log.last_seq() == 2

    def test_an_event_twice_in_one_batch_is_kept_once(self, log: Store):
        event = an_event()
        appended = log.append([event, event])
        assert (len(appended.accepted), appended.repeated) == (1, (event.event_id,))

    def test_a_repeat_is_not_judged_again(self, log: Store):
        event = an_event()
        log.append([event])
        assert log.append([event], judge=refuse).repeated == (event.event_id,)

    def test_an_id_used_for_another_event_is_refused_with_the_whole_batch(self, log: Store):
        event = an_event()
        log.append([event])
        with pytest.raises(RefusedEvents) as refused:
            log.append([an_event(), dataclasses.replace(event, unit="E02")])
        problem = refused.value.problems[0]
        assert (problem.row, problem.field) == (2, "event_id")
        assert "already used for another event" in problem.message
        assert log.last_seq() == 1

    def test_two_events_under_one_id_in_a_batch_are_refused(self, log: Store):
        event = an_event()
        with pytest.raises(RefusedEvents):
            log.append([event, dataclasses.replace(event, unit="E02")])
        assert log.last_seq() == 0

    # The clock

    def test_the_clock_says_when_an_event_became_known(self, log: Store, clock: SetClock):
        assert log.append([an_event()]).accepted[0].recorded_at == clock.moment

    def test_recorded_at_never_goes_backwards(self, log: Store, clock: SetClock):
        log.append([an_event()])
        clock.moment -= dt.timedelta(hours=1)
        assert log.append([an_event()]).accepted[0].recorded_at == NOON

    def test_a_senders_recorded_at_is_kept_only_when_asked(self, log: Store):
        earlier = dt.datetime(2025, 7, 1, 12, 30, 0, 123456, tzinfo=dt.UTC)
        sent = [an_event(recorded_at=earlier), an_event()]
        plain = log.append([dataclasses.replace(sent[0], event_id="plain")])
        kept = log.append(sent, keep_recorded_at=True)
        assert plain.accepted[0].recorded_at == NOON
        assert [event.recorded_at for event in kept.accepted] == [earlier, NOON]
        assert log.events()[1].recorded_at == earlier

    def test_other_time_zones_are_the_same_moment(self, log: Store):
        there = dt.datetime(2025, 7, 1, 5, tzinfo=dt.timezone(dt.timedelta(hours=-7)))
        log.append([an_event(recorded_at=there)], keep_recorded_at=True)
        assert log.frame()["recorded_at"].iloc[0] == pd.Timestamp("2025-07-01 12:00", tz="UTC")

    # The judge

    def test_a_refused_batch_leaves_nothing_behind(self, log: Store):
        with pytest.raises(RefusedEvents):
            log.append([an_event(), an_event()], judge=refuse)
        assert log.last_seq() == 0

    def test_the_judge_sees_the_fresh_events_and_the_log(self, log: Store):
        old, new = an_event(), an_event()
        log.append([old])
        seen = []

        def judge(fresh: object, held: LogView) -> list[Problem]:
            seen.append((ids(fresh), ids(held.unit("E01").events)))
            return []

        log.append([old, new], judge=judge)
        assert seen == [([new.event_id], [old.event_id])]

    def test_the_judge_finds_a_void_without_a_unit_with_what_it_cancels(self, log: Store):
        start, other = an_event(unit="E01"), an_event(unit="E02")
        void = an_event("void", unit="", activity="", voids=start.event_id)
        accepted = log.append([other, start, void]).accepted
        seen = []

        def judge(new: Sequence[Event], held: LogView) -> list[Problem]:
            seen.append([ids(held.unit(unit).events) for unit in ("E01", "E02")])
            assert held.find(new[0].voids) == (accepted[0] if new[0].voids else None)
            return []

        log.append([an_event("note", unit="E01", event_id="note")], judge=judge)
        undo = an_event("void", unit="", activity="", voids=other.event_id, event_id="undo")
        log.append([undo], judge=judge)
        log.append([an_event(unit="E03")], judge=judge)
        ours, theirs = ids([start, void]), ids([other])
        assert seen == [[ours, theirs], [[*ours, "note"], theirs],
                        [[*ours, "note"], [*theirs, "undo"]]]  # fmt: skip

    def test_what_a_broken_off_write_had_added_is_not_shown_to_the_next_judge(self, log: Store):
        log.append([an_event(event_id="kept")])
        assert self.shown(log) == ["kept"]
        failing = patch.object(Pending, "write", side_effect=StoreError("the disk failed"))
        with pytest.raises(StoreError), failing:
            log.append([an_event(event_id="lost")])
        assert self.shown(log) == ["kept"]
        log.append([an_event(event_id="next")])
        assert self.shown(log) == ["kept", "next"]

    @staticmethod
    def shown(log: Store, unit: str = "E01") -> list[str]:
        """Return what a judge is shown of a unit."""
        seen: list[str] = []
        log.look(lambda held: seen.extend(ids(held.unit(unit).events)))
        return seen

    def test_long_logs_are_not_kept_in_memory_whole(
        self, log: Store, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr("model.store.kept.EVENTS_AT_MOST", 3)
        for unit in ("E01", "E02", "E03"):
            log.append([an_event(unit=unit, event_id=f"{unit}-{n}") for n in range(2)])
        for unit in ("E01", "E02", "E03", "E01"):
            assert self.shown(log, unit) == [f"{unit}-0", f"{unit}-1"]
            assert log._kept._count <= 3

    def test_warnings_are_handed_back(self, log: Store):
        odd = Problem("event", "Odd.", "Look.", severity="warning")
        assert log.append([an_event()], judge=lambda *_: [odd]).warnings == (odd,)

    def test_an_error_in_the_judge_leaves_the_log_usable(self, log: Store):
        def stumble(*_: object) -> list[Problem]:
            raise RuntimeError("stumbled")

        with pytest.raises(RuntimeError):
            log.append([an_event()], judge=stumble)
        log.append([an_event()])
        assert log.last_seq() == 1

    # Several at once

    def test_many_threads_lose_nothing_and_double_nothing(self, log: Store):
        batches = [[an_event() for _ in range(3)] for _ in range(40)]
        at_once([lambda b=batch: log.append(b) for batch in batches for _ in range(2)])
        assert sorted(ids(log.events())) == sorted(ids(chain.from_iterable(batches)))
        assert [event.seq for event in log.events()] == list(range(1, 121))

    def test_a_batch_is_seen_whole_or_not_at_all(self, log: Store):
        done = threading.Event()
        seen: list[int] = []

        def watch() -> None:
            while not done.is_set():
                seen.append(log.last_seq())
                seen.append(len(log.frame()))

        watcher = threading.Thread(target=watch)
        watcher.start()
        try:
            for _ in range(20):
                log.append([an_event() for _ in range(7)])
        finally:
            done.set()
            watcher.join()
        assert {count % 7 for count in seen} <= {0}

    def test_two_writers_cannot_both_pass_the_judge(self, log: Store):
        def only_one(_: object, held: LogView) -> list[Problem]:
            return refuse() if held.unit("E01").events else []

        refused = at_once([lambda: log.append([an_event()], judge=only_one)] * 8)
        assert len(refused) == 7
        assert log.last_seq() == 1

    def test_nobody_writes_between_the_judge_and_the_writing(self, log: Store):
        other_is_judged = threading.Event()
        came_between: list[bool] = []

        def note(*_: object) -> list[Problem]:
            other_is_judged.set()
            return []

        other = threading.Thread(target=lambda: log.append([an_event()], judge=note))

        def look(*_: object) -> list[Problem]:
            other.start()
            came_between.append(other_is_judged.wait(0.2))
            return []

        log.append([an_event()], judge=look)
        other.join()
        assert came_between == [False]
        assert other_is_judged.is_set()
        assert log.last_seq() == 2

    def test_readers_who_ask_for_what_is_new_miss_nothing(self, log: Store):
        got: list[str] = []
        done = threading.Event()

        def follow() -> None:
            last = 0
            while True:
                finished = done.is_set()
                for event in log.events(after_seq=last):
                    got.append(event.event_id)
                    last = event.seq or 0
                if finished:
                    return

        follower = threading.Thread(target=follow)
        follower.start()
        at_once([lambda: log.append([an_event(), an_event()]) for _ in range(40)])
        done.set()
        follower.join()
        assert got == ids(log.events())

    def test_closing_twice_does_no_harm(self, log: Store):
        log.close()
        log.close()


class KeptStorePromises(StorePromises):
    """Further tests of stores that outlive the program."""

    def test_a_log_is_there_when_it_is_opened_again(self, open_log: Callable[[Clock], Store]):
        event = an_event("place", quantity="12.50")
        with open_log(utc_now) as log:
            log.append([event])
        with open_log(utc_now) as log:
            assert ids(log.events()) == [event.event_id]
            assert log.append([event]).repeated == (event.event_id,)

    def test_recorded_at_does_not_go_backwards_after_opening_again(
        self, open_log: Callable[[Clock], Store], clock: SetClock
    ):
        with open_log(clock) as log:
            log.append([an_event()])
        clock.moment -= dt.timedelta(days=1)
        with open_log(clock) as log:
            assert log.append([an_event()]).accepted[0].recorded_at == NOON

    def test_two_programs_share_one_log(self, open_log: Callable[[Clock], Store]):
        with open_log(utc_now) as one, open_log(utc_now) as other:
            one.append([an_event()])
            assert other.last_seq() == 1
            other.append([an_event()])
            assert list(one.frame()["seq"]) == [1, 2]

    def test_the_judge_is_shown_what_another_program_wrote(
        self, open_log: Callable[[Clock], Store], monkeypatch: pytest.MonkeyPatch
    ):
        with open_log(utc_now) as one, open_log(utc_now) as other:
            one.append([an_event(event_id="a")])
            assert self.shown(one) == ["a"]
            void = an_event("void", unit="", activity="", voids="a", event_id="b")
            other.append([void, an_event(unit="E02", event_id="c")])
            assert self.shown(one) == ["a", "b"]
            assert self.shown(one, "E02") == ["c"]
            monkeypatch.setattr("model.store.kept.CAUGHT_UP_AT_MOST", 1)
            other.append([an_event(event_id="d"), an_event(event_id="e")])
            assert self.shown(one) == ["a", "b", "d", "e"]

    def test_writers_of_several_programs_take_turns(self, open_log: Callable[[Clock], Store]):
        def only_twenty(_: object, held: LogView) -> list[Problem]:
            return refuse() if len(held.unit("E01").events) >= 20 else []

        with ExitStack() as stack:
            logs = [stack.enter_context(open_log(utc_now)) for _ in range(4)]
            refused = at_once([
                lambda log=log: log.append([an_event()], judge=only_twenty)
                for log in logs for _ in range(10)
            ])  # fmt: skip
            assert len(refused) == 20
            assert [event.seq for event in logs[0].events()] == list(range(1, 21))
            times = logs[0].frame()["recorded_at"]
            assert times.is_monotonic_increasing


def at_once(tasks: list[Callable[[], object]]) -> list[RefusedEvents]:
    """Run tasks in threads that start together; return refusals, raise anything else."""
    ready = threading.Barrier(len(tasks))
    refused: list[RefusedEvents] = []
    failed: list[BaseException] = []

    def run(task: Callable[[], object]) -> None:
        try:
            ready.wait()
            task()
        except RefusedEvents as refusal:
            refused.append(refusal)
        except Exception as error:  # noqa: BLE001 - handed on to the test below
            failed.append(error)

    threads = [threading.Thread(target=run, args=(task,)) for task in tasks]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if failed:
        raise failed[0]
    return refused
