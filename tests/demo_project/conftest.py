"""The demo's job as read from its folder, and its log, once for all tests."""

import pandas as pd
import pytest

from demo_project import FOLDER
from demo_project.generator import demo_events
from model.exchange.folder import read_folder


@pytest.fixture(scope="session")
def demo_job():
    job, problems = read_folder(FOLDER)
    assert job is not None, "\n".join(map(str, problems))
    return job


@pytest.fixture(scope="session")
def demo_log(demo_job):
    return demo_events(demo_job)


@pytest.fixture(scope="session")
def log_frame(demo_log):
    """Events as a frame, in the order the log came to know them."""
    columns = ("at", "by", "unit", "span", "activity", "kind", "reason", "note", "voids")
    frame = pd.DataFrame([{c: getattr(e, c) for c in columns} for e in demo_log])
    frame["event_id"] = [e.event_id for e in demo_log]
    frame["recorded_at"] = [e.recorded_at for e in demo_log]
    frame["quantity"] = [float(e.quantity) if e.quantity else float("nan") for e in demo_log]
    return frame


@pytest.fixture(scope="session")
def standing(log_frame):
    """The log without voids and what they cancel."""
    void = set(log_frame["voids"]) - {""}
    return log_frame[(log_frame["kind"] != "void") & ~log_frame["event_id"].isin(void)]
