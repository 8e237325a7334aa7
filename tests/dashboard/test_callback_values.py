"""Values that no page of ours sends are refused before a callback reads them."""

import logging

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dashboard.access import callback_name
from dashboard.callback_values import BY_INPUT, LARGEST_NUMBER, LONGEST_TEXT, misfit, shape_of
from tests.dashboard.test_access import CALLBACK_MAY, FITTING, body_of, callbacks_of
from tests.dashboard.visitors import HOME, Visitors
from tests.model.builders import a_job

ADDRESS = "/_dash-update-component"
WRONG = {
    "a number": 7, "a letter": "x", "a list of numbers": [1, 2], "half a record": {"unit": 1},
    "nothing": None, "a very long text": "x" * (LONGEST_TEXT + 1), "nested lists": [[[["x"]]]],
    "a truth": True, "an empty list": [], "an empty record": {}, "a large number": -1e308,
    "a huge whole number": 10**400, "no day": {"date": "2026-13-40", "activity": "falsework"},
    "an unknown unit": {"unit": "E99", "units": [], "opened": 1}, "markup": "<script>x</script>",
    "units that are none": {"unit": "", "units": [["E01"]]}, "a half": 0.5, "below": -1,
}  # fmt: skip


@pytest.fixture(scope="module")
def visitors(tmp_path_factory):
    return Visitors(tmp_path_factory.mktemp("job"))


@pytest.fixture(scope="module")
def scheduler(visitors):
    return visitors.signed_in("scheduler")


def callback_called(app, name):
    return next(output for output in callbacks_of(app) if callback_name(output) == name)


def inputs_of(app, output):
    return [(part, place) for part in ("inputs", "state")
            for place in range(len(app.callback_map[output][part]))]  # fmt: skip


def answer_to(visitors, headers, body, part, place, value):
    given = [*body[part]]
    given[place] = {**given[place], "value": value}
    return visitors.client.post(ADDRESS, json={**body, part: given}, headers=headers, base_url=HOME)


def test_every_input_of_every_callback_is_in_the_table_and_nothing_else(visitors):
    app, found = visitors.app, set()
    for output in callbacks_of(app):
        for part, place in inputs_of(app, output):
            one = app.callback_map[output][part][place]
            assert shape_of(one["id"], one["property"]) is not None, one
            found.add(f"{one['id']}.{one['property']}")
    fields = {name.replace("case-", "case-1-") for name in BY_INPUT}
    assert fields <= found, fields - found


@pytest.mark.parametrize("wrong", WRONG.values(), ids=WRONG.keys())
@pytest.mark.parametrize("name", CALLBACK_MAY)
def test_no_wrong_value_of_any_input_makes_a_fault(visitors, scheduler, name, wrong):
    output = callback_called(visitors.app, name)
    body = body_of(visitors.app, output)
    for part, place in inputs_of(visitors.app, output):
        answer = answer_to(visitors, scheduler, body, part, place, wrong)
        asked = body[part][place]
        assert answer.status_code in (200, 204, 400), (asked, answer.text)
        if answer.status_code == 400:
            (problem,) = answer.get_json()["problems"]
            assert f"{asked['id']}.{asked['property']} has to be " in problem["message"]
            assert "Traceback" not in answer.text


@pytest.mark.parametrize("number", [7, -1, 0, 0.5, 1e-9, LARGEST_NUMBER, "x", None])
@pytest.mark.parametrize("field", ["cycle", "crews", "sets"])
def test_a_comparison_with_any_number_ends_in_words(visitors, scheduler, field, number):
    output = callback_called(visitors.app, "whatif-answer.children")
    body = {**body_of(visitors.app, output), "changedPropIds": ["whatif-run.n_clicks"]}
    place = [one["id"] for one in body["state"]].index(f"case-1-{field}")
    answer = answer_to(visitors, scheduler, body, "state", place, number)
    assert answer.status_code == (400 if number == "x" else 200)
    assert "ended without an answer" not in answer.text


@pytest.mark.parametrize("name", ["line-chart.figure", "lag.data", "whatif-answer.children"])
def test_what_is_wrong_is_told_in_a_sentence(visitors, scheduler, name):
    output = callback_called(visitors.app, name)
    body = body_of(visitors.app, output)
    answer = answer_to(visitors, scheduler, body, "inputs", 0, [1, 2])
    assert answer.status_code == 400
    message = answer.get_json()["problems"][0]["message"]
    assert message.startswith("The page sent what cannot be: ")
    assert message.endswith(".")


def test_a_stranger_learns_nothing_of_the_job_from_wrong_values(visitors):
    output = callback_called(visitors.app, "line-chart.figure")
    body = body_of(visitors.app, output)
    answer = answer_to(visitors, visitors.headers("nobody"), body, "inputs", 0, "no heading")
    assert answer.status_code == 401


def test_the_callback_that_waits_takes_a_missing_search(visitors, scheduler):
    output = callback_called(visitors.app, "line-whole.children")
    body = body_of(visitors.app, output)
    assert answer_to(visitors, scheduler, body, "state", 0, None).status_code == 200


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.sampled_from(["unit", "units", "date", "activity", "opened", "narrow"]) | st.text(),
        inner, max_size=4), max_leaves=8,
)  # fmt: skip


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(JSON, st.sampled_from(sorted({*FITTING, *BY_INPUT})))
def test_whatever_is_sent_either_fits_or_is_told_in_a_sentence(value, name):
    component, prop = name.rsplit(".", 1)
    said = misfit([{"id": component, "property": prop}], [{"value": value}], a_job(units=2))
    assert said is None or said.endswith(".")


def test_what_a_page_sends_fits():
    job = a_job(units=4, headings=2, spans=2)
    for name, value in FITTING.items():
        component, prop = name.rsplit(".", 1)
        assert misfit([{"id": component, "property": prop}], [{"value": value}], job) is None


@pytest.fixture(autouse=True)
def _no_tracebacks_in_the_way():
    logging.disable(logging.CRITICAL)
    yield
    logging.disable(logging.NOTSET)
