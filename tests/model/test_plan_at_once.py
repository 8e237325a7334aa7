"""Two servers, many schedulers, and people who look on while the plan is replaced."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

from model.plan_files import PlanChanged
from model.project import Project
from tests.model.builders import an_event
from tests.model.exchange.folders import BASELINE, a_folder, swapped

DAYS = [f"2026-05-{day:02d}" for day in range(4, 12)]


def moved_to(day):
    return swapped(BASELINE, "2026-05-01", day)


def test_of_eight_schedulers_at_two_servers_one_saves_and_seven_see_that_one(tmp_path):
    folder = a_folder(tmp_path)
    with Project.open(folder) as one, Project.open(folder) as other:
        seen = one.plan.baseline().hash

        def save(number):
            server = (one, other)[number % 2]
            try:
                server.put_baseline(moved_to(DAYS[number]), seen)
            except PlanChanged as changed:
                return changed.now.text
            return None

        with ThreadPoolExecutor(len(DAYS)) as threads:
            told = list(threads.map(save, range(len(DAYS))))
        saved = (folder / "baseline.csv").read_text()
        assert told.count(None) == 1
        assert {text for text in told if text is not None} == {saved}
        assert saved == moved_to(DAYS[told.index(None)])
        kept = (folder / "plan_before").glob("*.csv")
        assert [path.read_text() for path in kept] == [BASELINE]


def test_who_looks_on_while_the_plan_is_replaced_sees_one_plan_or_the_other_never_a_mixture(
    tmp_path,
):
    with Project.open(a_folder(tmp_path)) as project:
        project.record([an_event("start", "2026-03-02 08:00", "E01")])

        def look(_):
            job, answered = project.state().job, project.forecast(paths=100)
            last = job.baseline["planned_finish"].max().date().isoformat()
            return last in ("2026-05-01", *DAYS) and len(job.baseline) == 2 and len(answered.units)

        with ThreadPoolExecutor(4) as threads:
            looks = threads.map(look, range(40))
            for day in DAYS:
                assert project.put_baseline(moved_to(day), project.plan.baseline().hash).changed
            assert all(looks)
        assert project.job.baseline["planned_finish"].max().date().isoformat() == DAYS[-1]
        assert project.line.job is project.job


def test_an_entry_that_comes_while_the_plan_is_replaced_is_in_the_log(tmp_path):
    with Project.open(a_folder(tmp_path)) as project:

        def record(number):
            note = an_event("note", "2026-03-02 08:00", "E01", note=f"{number}")
            return project.record([note]).accepted

        with ThreadPoolExecutor(4) as threads:
            recorded = threads.map(record, range(40))
            for day in DAYS:
                project.put_baseline(moved_to(day), project.plan.baseline().hash)
            assert sum(len(accepted) for accepted in recorded) == 40
        assert len(project.log().events) == project.last_seq() == 40
