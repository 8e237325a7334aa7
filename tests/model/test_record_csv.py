"""An older log moved in as a table: what it may say of when things became known."""

import datetime as dt

import pytest

from model.problems import RefusedEvents
from model.project import Project
from model.store import open_store
from tests.model.builders import a_job, an_event

NOW_UTC = dt.datetime(2026, 3, 10, 20, 0, tzinfo=dt.UTC)
HEADER = "recorded_at,at,by,unit,activity,kind,note\n"


@pytest.fixture
def project(tmp_path):
    def clock():
        return NOW_UTC

    with Project(tmp_path, a_job(), open_store(tmp_path / "log.sqlite", clock), clock) as opened:
        yield opened


def a_table(project, *known):
    rows = (f"{moment},2026-03-09 08:00,Ines,E01,falsework,note,seen\n" for moment in known)
    path = project.folder / "old.csv"
    path.write_text(HEADER + "".join(rows))
    return path


def test_nothing_can_have_become_known_after_now(project):
    path = a_table(project, "2026-03-09T20:00:00Z", "2026-03-10T20:06:00Z", "2027-01-01T00:00:00Z")
    with pytest.raises(RefusedEvents) as refused:
        project.record_csv(path)
    found = [(p.file, p.row, p.field) for p in refused.value.problems]
    assert found == [("old.csv", 3, "recorded_at"), ("old.csv", 4, "recorded_at")]
    assert "2026-03-10 20:06 UTC is later than now" in refused.value.problems[0].message
    assert "blank" in refused.value.problems[0].fix
    assert project.last_seq() == 0


def test_clocks_may_be_a_little_apart_and_the_moment_is_kept(project):
    project.record_csv(a_table(project, "2026-03-10T20:05:00Z", "2025-03-09T20:00:00Z", ""))
    known = list(project.log().events["recorded_at"].dt.to_pydatetime())
    assert known[0] == NOW_UTC + dt.timedelta(minutes=5)
    assert known[1] == dt.datetime(2025, 3, 9, 20, tzinfo=dt.UTC)
    assert known[2] >= NOW_UTC


def test_the_hour_that_clocks_on_site_show_twice_is_no_later_than_now(tmp_path):
    # At 09:30 UTC clocks in Los Angeles show 01:30 for the second time (1 November 2026).
    def clock():
        return dt.datetime(2026, 11, 1, 9, 30, tzinfo=dt.UTC)

    with Project(tmp_path, a_job(), open_store(tmp_path / "log.sqlite", clock), clock) as project:
        project.record_csv(a_table(project, "2026-11-01T08:50:00Z"))  # 01:50, the first time
        assert project.last_seq() == 1


def test_an_entry_cannot_say_when_it_became_known(project):
    late = an_event("note", recorded_at="2027-01-01T00:00:00")
    project.record([late])
    assert project.last_recorded_at() == NOW_UTC


def test_a_void_that_names_no_unit_still_holds_against_what_comes_later(project):
    start = an_event("start", "2026-03-02 08:00")
    project.record([start])
    project.record([an_event("void", "2026-03-02 09:00", "", "", voids=start.event_id)])
    with pytest.raises(RefusedEvents) as refused:
        project.record([an_event("void", "2026-03-02 10:00", "", "", voids=start.event_id)])
    assert [problem.field for problem in refused.value.problems] == ["voids"]
    project.record([an_event("start", "2026-03-02 11:00")])


def test_a_void_that_names_another_unit_is_refused(project):
    start = an_event("start", "2026-03-02 08:00")
    project.record([start])
    with pytest.raises(RefusedEvents) as refused:
        project.record([an_event("void", "2026-03-02 09:00", "E02", "", voids=start.event_id)])
    assert [problem.field for problem in refused.value.problems] == ["voids"]
