"""Names with markup in them are text on charts too: Plotly reads tags and entities itself."""

import json

import numpy as np
import pandas as pd
import pytest

from dashboard.figures.chart_frame import as_text
from dashboard.figures.control_charts import control_chart_figure
from dashboard.figures.time_station import Seen, time_station_chart
from dashboard.figures.whatif_chart import whatif_chart
from model.project import Project
from model.store import open_store
from model.whatif import Change
from tests.dashboard.visitors import clock_starting_at
from tests.model.builders import NOW, a_job, done

ODD = "<a href='https://odd.example'>go</a><i>&lt;</i>"


@pytest.fixture
def project(tmp_path):
    job = a_job(units=4, headings=1)
    clock = clock_starting_at(NOW.replace(tzinfo=job.timezone))
    with Project(tmp_path, job, open_store(":memory:", clock), clock=clock) as opened:
        opened.record(done("falsework", "E01", "2026-03-02 07:00", "2026-03-04 15:00"))
        opened.record(done("falsework", "E02", "2026-03-05 07:00", "2026-03-09 15:00"))
        opened.record(done("falsework", "E03", "2026-03-10 07:00", "2026-03-12 15:00"))
        yield opened


def texts_of(figure):
    """Every text of a figure but the data that is only handed back on a click."""
    plain = json.loads(figure.to_json())
    for trace in plain["data"]:
        trace.pop("customdata", None)

    def walk(part):
        if isinstance(part, str):
            yield part
        elif isinstance(part, dict):
            for inner in part.values():
                yield from walk(inner)
        elif isinstance(part, list):
            for inner in part:
                yield from walk(inner)

    return list(walk(plain))


def holds_it_as_text(figure):
    texts = texts_of(figure)
    assert not [text for text in texts if ODD in text or "<a " in text or "<i>" in text]
    return any(as_text(ODD) in text for text in texts)


def test_the_name_of_a_case_is_text(project):
    found = project.whatif([Change(ODD, workdays=("Mon", "Tue"))])
    assert holds_it_as_text(whatif_chart(found))


@pytest.mark.parametrize("focus", ["", "falsework"])
@pytest.mark.parametrize("narrow", [False, True])
def test_units_activities_and_structures_are_text(project, focus, narrow):
    cells = project.line.time_station()
    cells = cells.assign(unit=cells["unit"].astype(str) + ODD)
    two = pd.concat([cells, cells.assign(structure="other")], ignore_index=True)
    for shown in (cells, two):
        figure = time_station_chart(
            shown,
            {key: f"{key} {ODD}" for key in cells["activity"].unique()},
            Seen(focus, str(cells["unit"].iloc[0]), set(), narrow=narrow),
            as_of=np.datetime64("2026-03-20"), length_unit="ft",
            structure_names=dict.fromkeys(two["structure"].unique(), ODD),
        )  # fmt: skip
        assert holds_it_as_text(figure)


def test_units_of_a_control_chart_are_text(project):
    crew = project.line.cycle_chart("h1", "falsework")
    odd = type(crew)(**{**crew.__dict__, "units": [f"{unit}{ODD}" for unit in crew.units]})
    assert holds_it_as_text(control_chart_figure(odd))
