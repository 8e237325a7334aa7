"""The very long viaduct of the benchmarks keeps the rules of a real one."""

import numpy as np
import pytest

from demo_project.large import large_job, write_large_folder
from demo_project.large_log import large_events
from model.acceptance import judge
from model.clock import utc_now
from model.events import EVENT_COLUMNS, Event
from model.exchange.folder import read_folder
from model.store.memory import MemoryStore


@pytest.fixture(scope="module")
def job():
    return large_job(240)


@pytest.fixture(scope="module")
def frame(job):
    return large_events(job, 4_000)


def as_events(frame):
    from decimal import Decimal

    for row in frame.to_dict("records"):
        row["at"] = row["at"].to_pydatetime()
        row["recorded_at"] = row["recorded_at"].to_pydatetime()
        row["quantity"] = None if np.isnan(row["quantity"]) else Decimal(str(row["quantity"]))
        yield Event(**row)


def test_a_large_job_has_the_spans_asked_for(job):
    assert len(job.spans) == 240
    assert len(job.headings) == 8


def test_a_large_log_has_the_events_asked_for_in_the_shape_of_a_store(frame):
    stored = MemoryStore(utc_now).frame()
    assert list(frame.columns) == list(EVENT_COLUMNS)
    assert dict(frame.dtypes) == dict(stored.dtypes)
    assert len(frame) == 4_000
    assert frame["event_id"].is_unique
    assert frame["at"].is_monotonic_increasing


def test_a_large_log_is_accepted(job, frame):
    problems = judge(
        list(as_events(frame)),
        MemoryStore(utc_now).frame(),
        job,
        now_local=frame["at"].max().to_pydatetime(),
    )
    assert [str(p) for p in problems if p.severity == "error"] == []


def test_too_few_events_are_refused_with_the_number_needed(job):
    with pytest.raises(ValueError, match="are needed at least"):
        large_events(job, 10)


def test_a_large_folder_reads_as_the_same_job(job, tmp_path):
    read, problems = read_folder(write_large_folder(tmp_path, 240))
    assert [str(p) for p in problems if p.severity == "error"] == []
    assert list(read.spans["unit"]) == list(job.spans["unit"])
    assert np.allclose(read.spans["area_m2"], job.spans["area_m2"], rtol=1e-6)
    assert len(read.planned) == len(job.planned)
