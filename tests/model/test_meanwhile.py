"""What others recorded in the meantime, and whose headings a batch touches."""

import threading
from pathlib import Path

import pytest

from model.meanwhile import (
    NotYourHeading,
    RecordedMeanwhile,
    headings_touched,
    recorded_meanwhile,
)
from model.project import Project
from model.store import open_store
from tests.model.builders import a_frame, a_job, an_event, done

HEADINGS = {"E01": "h1", "E02": "h1", "E03": "h2"}


def theirs(**more):
    return an_event(by="B. Reed", **more)


def mine(**more):
    return an_event(by="R. Alder", **more)


def test_what_somebody_else_recorded_there_since_is_told():
    seen, since = theirs(kind="start"), theirs(kind="place", quantity=5)
    log = a_frame(seen, since)
    assert recorded_meanwhile([mine(kind="finish")], log, 1) == [since.event_id]


def test_what_was_seen_already_is_not_told_again():
    assert recorded_meanwhile([mine(kind="finish")], a_frame(theirs()), 1) == []


def test_ones_own_entries_of_another_phone_are_no_surprise():
    assert recorded_meanwhile([mine(kind="finish")], a_frame(mine()), 0) == []


def test_other_units_do_not_matter():
    assert recorded_meanwhile([mine()], a_frame(theirs(unit="E02")), 0) == []


def test_a_hold_below_is_told_to_who_finishes_above_it():
    hold = theirs(kind="hold", activity="falsework", reason="settlement")
    assert recorded_meanwhile([mine(kind="finish", activity="rebar")], a_frame(hold), 0) == [
        hold.event_id
    ]


def test_a_void_counts_where_the_event_was_that_it_cancels():
    start = theirs()
    void = theirs(kind="void", unit="", activity="", voids=start.event_id)
    assert recorded_meanwhile([mine()], a_frame(start, void), 1) == [void.event_id]
    place = mine(kind="place", quantity=1)
    cancelling = mine(kind="void", unit="", activity="", voids=place.event_id)
    log = a_frame(place, since := theirs(kind="finish"))
    assert recorded_meanwhile([cancelling], log, 1) == [since.event_id]


def test_a_note_on_the_whole_unit_is_told_and_its_writer_is_told_of_others():
    note = {"kind": "note", "activity": "", "note": "pump moved"}
    noted, begun = theirs(**note), theirs()
    assert recorded_meanwhile([mine()], a_frame(noted), 0) == [noted.event_id]
    assert recorded_meanwhile([mine(**note)], a_frame(begun), 0) == [begun.event_id]


def test_ones_own_entries_on_other_work_of_the_unit_never_collide():
    log = a_frame(mine(activity="rebar"), mine(kind="note", activity="", note="pump moved"))
    assert recorded_meanwhile([mine(kind="finish")], log, 0) == []


def test_an_empty_log_holds_no_surprise():
    assert recorded_meanwhile([mine()], a_frame(), 0) == []


def test_the_headings_of_a_batch_are_those_of_its_units_and_of_what_it_cancels():
    there = theirs(unit="E03")
    void = mine(kind="void", unit="", activity="", voids=there.event_id)
    assert headings_touched([mine(unit="E02")], a_frame(), HEADINGS) == {"h1"}
    assert headings_touched([mine(), void], a_frame(there), HEADINGS) == {"h1", "h2"}
    own = mine(unit="E03")
    cancels_own = mine(kind="void", unit="E01", activity="", voids=own.event_id)
    assert headings_touched([own, cancels_own], a_frame(), HEADINGS) == {"h1", "h2"}
    assert headings_touched([mine(unit="X99")], a_frame(), HEADINGS) == set()


# Through the project: asked inside the write


@pytest.fixture
def project(tmp_path):
    job = a_job(units=4, headings=2)
    with Project(Path(tmp_path), job, open_store(tmp_path / "log.sqlite")) as opened:
        yield opened


def test_the_later_of_two_senders_is_told_and_nothing_of_hers_is_written(project):
    project.record(done("falsework"), seen_seq=0)
    with pytest.raises(RecordedMeanwhile) as told:
        project.record([an_event("reopen", "2026-03-05 08:00", by="B. Reed")], seen_seq=0)
    assert len(told.value.event_ids) == 2
    assert told.value.last_seq == project.last_seq() == 2


def test_having_seen_it_she_may_record_and_so_she_may_without_asking(project):
    project.record(done("falsework"))
    project.record([an_event("reopen", "2026-03-05 08:00", by="B. Reed")], seen_seq=2)
    project.record([an_event("finish", "2026-03-05 09:00", by="C. Fell")])
    assert project.last_seq() == 4


def test_a_batch_sent_again_after_a_lost_answer_is_no_conflict_with_itself(project):
    batch = done("falsework")
    project.record(batch, seen_seq=0)
    project.record([an_event("reopen", "2026-03-05 08:00", by="B. Reed")])
    again = project.record(batch, seen_seq=0)
    assert again.repeated == tuple(event.event_id for event in batch)


def test_of_many_senders_at_once_who_all_saw_nothing_exactly_one_is_taken(project):
    outcomes = []
    together = threading.Barrier(12)

    def send(number):
        event = an_event("start", by=f"Person {number}")
        together.wait()
        try:
            project.record([event], seen_seq=0)
            outcomes.append("taken")
        except RecordedMeanwhile as told:
            outcomes.append("told")
            assert len(told.event_ids) == 1

    threads = [threading.Thread(target=send, args=(number,)) for number in range(12)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["taken"] + ["told"] * 11
    assert project.last_seq() == 1


def test_another_heading_is_refused_with_the_whole_batch(project):
    with pytest.raises(NotYourHeading, match="h2"):
        project.record([an_event(unit="E01"), an_event(unit="E04")], headings={"h1"})
    assert project.last_seq() == 0
    project.record([an_event(unit="E01")], headings={"h1"})


def test_a_void_cannot_reach_into_another_heading(project):
    there = an_event(unit="E04")
    project.record([there])
    void = an_event("void", unit="", activity="", voids=there.event_id)
    with pytest.raises(NotYourHeading):
        project.record([void], headings={"h1"})
    project.record([void], headings={"h2"})
