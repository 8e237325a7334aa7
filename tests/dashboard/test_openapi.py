"""The API holds to what it says of itself, whatever is sent."""

from __future__ import annotations

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from dashboard.access import ROUTES
from dashboard.doors.openapi import PATHS, document
from model.project import Project
from tests.dashboard.visitors import HOME, Visitors, an_item
from tests.model.exchange.folders import a_folder

CHECKS = (
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
)
FEW = settings(
    max_examples=40,
    deadline=None,
    derandomize=True,
    suppress_health_check=list(HealthCheck),
)
"""Examples for each operation: enough to meet every kind of mistake, few enough to wait for."""


@pytest.fixture(scope="module")
def visitors(tmp_path_factory):
    folder = a_folder(tmp_path_factory.mktemp("api"))
    with Project.open(folder) as project:
        made = Visitors(folder, project=project)
        made.send("POST", "/api/events", "scheduler", json={"events": [an_item()]})
        yield made


@pytest.fixture(scope="module")
def headers(visitors):
    # The tool asks for compressed answers and does not unpack them when there is no network.
    token = visitors.token("administrator", "read", "record", "plan")
    return token | {"Accept-Encoding": "identity"}


@pytest.fixture(scope="module")
def api(visitors, headers):
    return schemathesis.openapi.from_wsgi(
        "/api/openapi.json", visitors.app.server, base_url=HOME, headers=headers
    )


def can_be_wrong(operation):
    """Tell whether there is a shape to get wrong: nothing sent, and any bytes, have none."""
    bodies = operation.get("requestBody", {}).get("content", {})
    return "application/json" in bodies or "parameters" in operation


SENT = [
    (path, method, mode)
    for path, item in PATHS.items()
    for method, operation in item.items()
    for mode in GenerationMode
    if mode is GenerationMode.POSITIVE or can_be_wrong(operation)
]


@pytest.mark.parametrize(("path", "method", "mode"), SENT)
def test_whatever_is_sent_the_answer_is_one_that_the_document_names(
    api, headers, path, method, mode
):
    operation = api[path][method]
    answered = []

    @FEW
    @given(case=operation.as_strategy(generation_mode=mode))
    def send(case):
        answer = case.call(headers=headers)
        case.validate_response(answer, checks=CHECKS)
        answered.append(answer.status_code)

    send()
    assert answered


def test_every_address_of_the_api_stands_in_the_document(visitors):
    served = {
        (rule.rule, method.lower())
        for rule in visitors.app.server.url_map.iter_rules()
        if rule.rule.startswith("/api/") and rule.endpoint != "no_door"
        for method in rule.methods - {"HEAD", "OPTIONS"}
    }
    told = {(path, method) for path, item in PATHS.items() for method in item}
    assert {(path.replace("<", "{").replace(">", "}"), method) for path, method in served} == told


def test_every_operation_says_that_it_may_be_refused():
    for path, item in PATHS.items():
        for method, operation in item.items():
            needed = ROUTES[f"{method.upper()} {path.replace('{', '<').replace('}', '>')}"]
            assert needed != "anybody"
            assert {"401", "403", "503"} <= operation["responses"].keys()


def test_every_reference_of_the_document_leads_somewhere():
    names = document()["components"]["schemas"].keys()

    def references(part):
        if isinstance(part, dict):
            yield from ([part["$ref"]] if "$ref" in part else [])
            part = list(part.values())
        if isinstance(part, list):
            for inner in part:
                yield from references(inner)

    assert {name.rsplit("/", 1)[1] for name in references(document())} <= names


def test_a_misspelt_address_of_the_api_says_so_and_is_no_page(visitors, headers):
    answer = visitors.app.server.test_client().get(
        "/api/entry-shet", base_url=HOME, headers=headers
    )
    assert answer.status_code == 404
    assert answer.json["problems"][0]["message"] == "There is no /api/entry-shet."
