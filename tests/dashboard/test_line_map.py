"""The map page without a browser: its layout, its callbacks, its documents."""

import datetime as dt
import gzip

import numpy as np

from dashboard.app import create_app
from dashboard.demo import open_demo
from dashboard.pages import line_map
from model.clock import end_of_day
from model.events import Event
from tests.dashboard.conftest import words_of


def test_a_page_asked_for_by_path_comes_with_its_links(call):
    answer = call("page.children", **{"url.pathname": "/", "url.search": ""})
    assert answer.status_code == 200
    assert "Placed against plan" in words_of(answer)
    assert "Shift entry" in words_of(answer)


def test_a_path_that_leads_nowhere_says_so(call):
    answer = call("page.children", **{"url.pathname": "/nowhere", "url.search": ""})
    assert "no page at this address" in words_of(answer)


def test_the_layout_holds_no_coordinates(project):
    text = str(line_map.layout(project).to_plotly_json())
    assert "coordinates" not in text.replace("'coordinates'", "")


def test_footprints_are_fetched_once_and_kept_for_ever(client, project):
    name = project.footprints.hash
    answer = client.get(f"/geometry/{name}.geojson", headers={"Accept-Encoding": "gzip"})
    assert "immutable" in answer.headers["Cache-Control"]
    assert gzip.decompress(answer.data) == project.footprints.content
    plain = client.get(f"/geometry/{name}.geojson")
    assert len(plain.get_json()["features"]) == len(project.job.spans)


def test_footprints_by_an_old_name_ask_for_a_reload(client):
    answer = client.get("/geometry/0123456789abcdef.geojson")
    assert answer.status_code == 404
    assert "reload the page" in answer.text


def test_an_open_page_is_told_nothing_while_nothing_happens(call, project):
    seen = project.last_seq()
    answer = call("changes.data", **{"seen-seq.data": seen, "map-refresh.n_intervals": 1})
    assert answer.status_code == 204 or "changes" not in answer.get_json()["response"]


def test_an_open_page_is_told_when_the_log_grows(call, project):
    seen = project.last_seq()
    ready = project.at_hand("falsework")
    unit = ready[(ready["status"] == "not_started") & ready["at_hand"]].iloc[0]["unit"]
    project.record([Event(project.now(), "Ada", unit, "falsework", "start")])
    answer = call("changes.data", **{"seen-seq.data": seen, "map-refresh.n_intervals": 2})
    told = answer.get_json()["response"]
    assert told["seen-seq"]["data"] == seen + 1
    assert told["changes"]["data"]["hash"] == project.footprints.hash


def test_the_finish_on_the_card_is_the_projects_own(call, project):
    day = dt.date(2026, 9, 30)
    answer = call(
        "finish-card.children",
        **{"settled.data": {"activity": "deck_pour", "date": day.isoformat()}, "seen-seq.data": 1},
    )
    finish = project.forecast(as_of=end_of_day(day)).finish
    assert f"{finish.p50.day} {finish.p50:%b %Y}" in words_of(answer)


def test_a_history_says_who_when_how_much_and_why(call, project):
    held = project.log().events.query("kind == 'hold'").iloc[0]
    answer = call(
        "history.children",
        **{"selection.data": {"unit": held["unit"], "opened": 1}, "seen-seq.data": 1},
    )
    for words in (held["by"], held["reason"], "put on hold", f"/line?unit={held['unit']}"):
        assert words in words_of(answer)


def test_a_cancelled_entry_stays_in_the_history_and_is_crossed_out(call, project):
    void = project.log().events.query("kind == 'void'").iloc[0]
    answer = call(
        "history.children",
        **{"selection.data": {"unit": void["unit"], "opened": 1}, "seen-seq.data": 1},
    )
    assert "Cancelled by a later entry" in words_of(answer)
    assert "what cancelled" in words_of(answer)


def test_the_numbers_of_a_day_are_those_of_the_status_command(project):
    days = project.days()
    for place in (0, 100, len(days.days) - 1):
        evening = end_of_day(days.days[place].astype(dt.date))
        totals = project.status(as_of=evening).totals
        assert days.units_complete[place].tolist() == totals["units_complete"].tolist()
        np.testing.assert_allclose(
            np.nan_to_num(days.placed[place]), totals["placed"].fillna(0), rtol=1e-9
        )


def test_two_projects_in_one_process_answer_separately(tmp_path):
    with open_demo(tmp_path / "one") as one, open_demo(tmp_path / "two") as two:
        first, second = create_app(one), create_app(two)
        unit = one.at_hand("falsework").query("at_hand and status == 'not_started'").iloc[0]["unit"]
        one.record([Event(one.now(), "Ada", unit, "falsework", "start")])
        assert first.server.url_map is not second.server.url_map
        assert one.last_seq() == two.last_seq() + 1
