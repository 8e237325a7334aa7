"""The plan is replaced while the program runs: checked, whole, and nothing typed is lost."""

from __future__ import annotations

import datetime as dt
import tomllib
from contextlib import contextmanager

import pytest
from hypothesis import given
from hypothesis import strategies as st

from model.clock import clock_starting_at
from model.exchange.calendar_text import calendar_of, with_calendar
from model.plan_files import NONE_YET, PlanChanged
from model.plan_watch import LOOK_EVERY_S, PlanWatch
from model.problems import InputError, StoreError
from model.project import Project
from tests.model.builders import an_event
from tests.model.exchange.folders import BASELINE, PROJECT, a_folder, swapped

AT = dt.datetime(2026, 11, 25, 18, 30, tzinfo=dt.UTC)
LATER = swapped(BASELINE, "2026-05-01", "2026-05-08")


@pytest.fixture
def folder(tmp_path):
    return a_folder(tmp_path)


@pytest.fixture
def project(folder):
    with Project.open(folder, clock=clock_starting_at(AT)) as opened:
        yield opened


def files_of(folder):
    found = [path for path in folder.rglob("*") if path.is_file() and "sqlite" not in path.name]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


def the_problem(refused):
    [problem] = refused.value.problems
    return problem.file, problem.row, problem.field


def audit(project):
    return [(line.user, line.address, line.what, line.why) for line in project.membership.trail()]


def baseline_day(project, unit, activity):
    rows = project.job.baseline
    [day] = rows.loc[(rows["unit"] == unit) & (rows["activity"] == activity), "planned_finish"]
    return day.date()


# A new baseline


def test_a_new_baseline_is_written_whole_and_the_former_one_kept(project, folder):
    put = project.put_baseline(LATER, project.plan.baseline().hash)
    assert (folder / "baseline.csv").read_text() == LATER
    assert put.kept.startswith("plan_before/2026-11-25T1830")
    assert put.kept.endswith("Z_baseline.csv")
    assert (folder / put.kept).read_text() == BASELINE
    assert not list(folder.rglob("*.part"))


def test_the_program_goes_by_a_new_baseline_at_once(project):
    assert baseline_day(project, "E01", "deck_pour") == dt.date(2026, 5, 1)
    before = project.line
    project.put_baseline(LATER, project.plan.baseline().hash)
    assert baseline_day(project, "E01", "deck_pour") == dt.date(2026, 5, 8)
    assert project.line is not before
    assert project.line.job is project.job is project.state().job


def test_the_audit_trail_says_who_replaced_the_baseline_and_what_it_changed(project):
    project.put_baseline(LATER, project.plan.baseline().hash, "Ines Alder", "203.0.113.7")
    [(user, address, what, why)] = audit(project)
    assert (user, address, what) == ("Ines Alder", "203.0.113.7", "PUT baseline")
    assert why.startswith("baseline.csv: planned finishes: 0 added, 0 removed, 1 moved; before: ")


def test_the_log_stays_as_it_is_under_a_new_plan(project):
    project.record([an_event("start", "2026-03-02 08:00", "E01")])
    before, seq = project.log().events.copy(), project.last_seq()
    project.put_baseline(LATER, project.plan.baseline().hash)
    assert project.last_seq() == seq
    assert project.log().events.equals(before)


@pytest.mark.parametrize(
    ("text", "place"),
    [
        (swapped(BASELINE, "E01,deck_pour", "E77,deck_pour"), ("baseline.csv", 3, "unit")),
        (swapped(BASELINE, "2026-05-01", "1 May"), ("baseline.csv", 3, "planned_finish")),
        (swapped(BASELINE, "planned_finish", "finish"), ("baseline.csv", 1, "planned_finish")),
    ],
)
def test_a_baseline_with_a_fault_is_refused_where_the_fault_is_and_nothing_is_written(
    project, folder, text, place
):
    before = files_of(folder)
    with pytest.raises(InputError) as refused:
        project.put_baseline(text, project.plan.baseline().hash)
    assert the_problem(refused) == place
    assert all(problem.fix for problem in refused.value.problems)
    assert files_of(folder).items() >= before.items()
    assert not [name for name in files_of(folder) if name.startswith("plan_before/2")]
    assert audit(project) == []


def test_of_two_schedulers_the_later_one_is_shown_what_the_first_one_saved(project, folder):
    seen = project.plan.baseline().hash
    project.put_baseline(LATER, seen)
    with pytest.raises(PlanChanged) as refused:
        project.put_baseline(BASELINE, seen)
    assert refused.value.now.text == LATER
    assert (folder / "baseline.csv").read_text() == LATER


def test_the_same_baseline_again_changes_nothing_and_keeps_nothing(project, folder):
    put = project.put_baseline(BASELINE, project.plan.baseline().hash)
    assert (put.changed, put.kept) == (False, "")
    assert audit(project) == []


def test_a_project_without_a_baseline_gets_its_first_one(tmp_path):
    with Project.open(a_folder(tmp_path, baseline_csv=None)) as project:
        assert project.plan.baseline().hash == NONE_YET
        put = project.put_baseline(BASELINE, NONE_YET)
        assert put.changed
        assert put.kept == ""
        assert len(project.job.baseline) == 2


def test_two_texts_replaced_within_a_second_are_both_kept(project, folder):
    first = project.put_baseline(LATER, project.plan.baseline().hash)
    second = project.put_baseline(BASELINE, project.plan.baseline().hash)
    assert (folder / first.kept).read_text() == BASELINE
    assert (folder / second.kept).read_text() == LATER
    assert first.kept != second.kept


def test_a_folder_that_takes_no_files_is_said_and_the_baseline_stays(project, folder):
    (folder / "plan_before").write_text("in the way")
    with pytest.raises(StoreError, match="plan_before"):
        project.put_baseline(LATER, project.plan.baseline().hash)
    assert (folder / "baseline.csv").read_text() == BASELINE


@contextmanager
def room_for(size_bytes):
    """Let no file grow beyond a size, as on a disk that is nearly full."""
    resource = pytest.importorskip("resource")
    usual, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (usual, hard))


@pytest.mark.parametrize(
    ("room", "told"), [(20, "cannot be checked"), (60, "cannot be read or written")]
)
def test_on_a_full_disk_the_baseline_stays_whole_and_nothing_half_written_is_left(
    project, folder, room, told
):
    # Too little for the new one; enough for it, and too little to keep the former one.
    seen = project.plan.baseline().hash
    with room_for(room), pytest.raises(StoreError, match=told):
        project.plan.put_baseline("unit,activity,planned_finish\n", seen, project.job)
    assert (folder / "baseline.csv").read_text() == BASELINE
    assert not [name for name in files_of(folder) if name.endswith((".part", "_baseline.csv"))]


# A new calendar


def test_a_six_day_week_changes_the_calendar_and_nothing_else_of_the_project_file(project, folder):
    now = project.plan.calendar()
    six = [*now.values["workdays"], "Sat"]
    put = project.put_calendar({**now.values, "workdays": six}, now.hash, "Ines Alder")
    wanted = swapped(PROJECT, '"Thu", "Fri"]', '"Thu", "Fri", "Sat"]')
    assert (folder / "project.toml").read_text() == wanted
    assert (folder / put.kept).read_text() == PROJECT
    assert project.job.calendar.workdays == tuple(six)
    assert audit(project)[0][3].startswith("calendar: workdays; before: plan_before/")


def test_a_day_off_moves_the_forecasts_working_days_at_once(project):
    now = project.plan.calendar()
    monday = dt.date(2026, 12, 7)
    assert bool(project.job.calendar.is_workday(monday))
    project.put_calendar({**now.values, "days_off": [str(monday)]}, now.hash)
    assert not bool(project.job.calendar.is_workday(monday))


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"workdays": []}, "calendar.workdays"),
        ({"workdays": ["Mon", "Someday"]}, "calendar.workdays"),
        ({"holidays": "ZZ-99"}, "calendar.holidays"),
        ({"days_off": ["2026-02-30"]}, "calendar.days_off"),
        ({"days_off": ["tomorrow"]}, "calendar.days_off"),
        ({"lost_days_per_month": [1, 2, 3]}, "calendar.lost_days_per_month"),
        ({"lost_days_per_month": [-1.0] * 12}, "calendar.lost_days_per_month"),
    ],
)
def test_a_calendar_with_a_fault_is_refused_and_nothing_is_written(project, folder, change, field):
    now = project.plan.calendar()
    with pytest.raises(InputError) as refused:
        project.put_calendar({**now.values, **change}, now.hash)
    assert {problem.file for problem in refused.value.problems} == {"project.toml"}
    assert field in {problem.field for problem in refused.value.problems}
    assert (folder / "project.toml").read_text() == PROJECT
    assert audit(project) == []


def test_another_part_of_the_project_file_may_change_without_losing_the_calendar_seen(
    project, folder
):
    seen = project.plan.calendar()
    renamed = swapped(PROJECT, "Heron Flat Crossing", "Heron Flats")
    (folder / "project.toml").write_text(renamed)
    project.put_calendar({**seen.values, "holidays": ""}, seen.hash)
    assert (folder / "project.toml").read_text() == swapped(renamed, 'holidays = "US-CA"\n', "")


def test_of_two_schedulers_the_later_one_is_shown_the_calendar_of_the_first(project):
    seen = project.plan.calendar()
    project.put_calendar({**seen.values, "holidays": ""}, seen.hash)
    with pytest.raises(PlanChanged) as refused:
        project.put_calendar({**seen.values, "days_off": []}, seen.hash)
    assert refused.value.now.values["holidays"] == ""


WEEKS = st.lists(st.sampled_from(["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]),
                 unique=True, min_size=1)  # fmt: skip
CALENDARS = st.fixed_dictionaries(
    {"workdays": WEEKS},
    optional={
        "holidays": st.text(st.characters(exclude_categories=["Cs"]), min_size=1),
        "days_off": st.lists(st.dates().map(str)),
        "lost_days_per_month": st.lists(st.integers(0, 20) | st.floats(0, 20), min_size=1),
    },
)
PLACES = st.sampled_from([
    PROJECT,
    PROJECT.replace("\n", "\r\n"),
    "\ufeff" + PROJECT,
    swapped(PROJECT, "[calendar]", "[calendar] # the week\n# of the crews"),
    PROJECT[: PROJECT.index("[calendar]")] + PROJECT[PROJECT.index("[[activity]]"):],
    'calendar = { workdays = ["Mon"] } # short\n[project]\nname = "x"\n',
])  # fmt: skip


@given(PLACES, CALENDARS)
def test_whatever_calendar_is_put_in_all_other_lines_and_keys_stay(text, wanted):
    changed = with_calendar(text, wanted)
    read = calendar_of(changed)
    assert {key: read[key] for key in wanted} == wanted
    plain = [tomllib.loads(one.removeprefix("\ufeff").replace("\r\n", "\n"))
             for one in (text, changed)]  # fmt: skip
    for one in plain:
        one.pop("calendar", None)
    assert plain[0] == plain[1]
    keys = ("workdays", "holidays", "days_off", "lost_days_per_month", "calendar")
    kept = [
        line for line in text.splitlines() if line and not line.strip("\ufeff[").startswith(keys)
    ]
    assert [line for line in changed.splitlines() if line in kept] == kept


# What changes on the disk


def test_a_baseline_that_a_person_changed_on_the_disk_is_taken_up(project, folder):
    (folder / "baseline.csv").write_text(LATER + "E02,falsework,2026-06-01\n")
    assert project.take_new_plan()
    assert baseline_day(project, "E02", "falsework") == dt.date(2026, 6, 1)
    assert not project.take_new_plan()


def test_what_another_server_saved_is_taken_up(project, folder):
    with Project.open(folder) as other:
        other.put_baseline(LATER, other.plan.baseline().hash)
    assert project.take_new_plan()
    assert baseline_day(project, "E01", "deck_pour") == dt.date(2026, 5, 8)


def test_a_plan_broken_on_the_disk_is_not_taken_up_and_what_is_wrong_is_told(project, folder):
    (folder / "project.toml").write_text(swapped(PROJECT, '"Mon", ', '"Moon", '))
    assert not project.take_new_plan()
    assert project.job.calendar.workdays[0] == "Mon"
    assert project.plan_problems[0].field == "calendar.workdays"
    (folder / "project.toml").write_text(PROJECT)
    project.take_new_plan()
    assert project.plan_problems == ()


def test_only_the_plan_is_taken_up_until_the_program_is_started_again(project, folder):
    (folder / "project.toml").write_text(swapped(PROJECT, "Heron Flat Crossing", "Renamed"))
    project.take_new_plan()
    assert project.job.name == "Heron Flat Crossing"


def test_the_disk_is_looked_at_once_a_second_at_most(tmp_path):
    path, now = tmp_path / "baseline.csv", [0.0]
    watch = PlanWatch([path], lambda: now[0])
    path.write_text("unit,activity,planned_finish\n")
    assert not watch.changed_lately()
    now[0] = LOOK_EVERY_S
    assert watch.changed_lately()
    now[0] += LOOK_EVERY_S / 2
    assert not watch.changed_lately()
    now[0] += LOOK_EVERY_S
    watch.take(watch.stamp())
    assert not watch.changed_lately()
