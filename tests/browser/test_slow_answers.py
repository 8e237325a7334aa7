"""Open pages on thin signal: what they ask for again and again is shown, however slow it comes."""

import threading

import pytest

from dashboard.pages import line_backtest, line_map
from dashboard.parts.frame import GROWTH_MS
from dashboard.parts.progress_panel import POLL_MS
from model.events import Event
from model.line_answers import LineAnswers
from tests.browser.entry_steps import until
from tests.browser.test_long_forecast import held_up  # noqa: F401
from tests.browser.test_map_page import status_on_screen

CALLBACKS = "/_dash-update-component"


def answered_after(monkeypatch, module, name, wait_ms):
    """Have the server take longer over what a function of a page answers."""
    original, never = getattr(module, name), threading.Event()

    def slow(*given, **more):
        never.wait(wait_ms / 1000)
        return original(*given, **more)

    monkeypatch.setattr(module, name, slow)


@pytest.fixture
def tested_until_told(monkeypatch):
    """A test of old projections that goes on until it is cancelled, or ended with the test."""
    enough = threading.Event()

    def slow(_, on_week):
        week = 1
        while not enough.wait(0.02) and on_week(week, 1_000_000):
            week += 1

    monkeypatch.setattr(LineAnswers, "backtest", slow)
    yield
    enough.set()


def started_by_somebody(project):
    """Record the start of some work, and return the unit."""
    ready = project.at_hand("falsework")
    unit = ready[(ready["status"] == "not_started") & ready["at_hand"]].iloc[0]["unit"]
    project.record([Event(project.now(), "Ada", unit, "falsework", "start")])
    return unit


def wait_until_started(page, unit):
    until(page, lambda: "under_way" in status_on_screen(page, "falsework", unit))


def test_old_projections_are_shown_though_answers_take_longer_than_the_page_waits_to_ask_again(
    served, watch, monkeypatch
):
    answered_after(monkeypatch, line_backtest, "_backtest_answer", 3 * POLL_MS)
    page = watch.open(f"{served.url}/line")
    page.wait_for_selector("#line-backtest .lead")
    assert page.locator("#line-backtest-cancel").is_disabled()


def test_a_cancel_while_a_slow_answer_is_under_way_is_shown(
    served, watch, monkeypatch, tested_until_told
):
    answered_after(monkeypatch, line_backtest, "_backtest_answer", 3 * POLL_MS)
    page = watch.open(f"{served.url}/line")
    ticks = []
    page.on("request", lambda asked: is_tick(asked, "line-backtest-poll") and ticks.append(asked))
    page.wait_for_selector("#line-backtest [role=progressbar]")
    until(page, lambda: ticks)
    page.evaluate("(ms) => new Promise((then) => setTimeout(then, ms))", POLL_MS + 100)
    page.locator("#line-backtest-cancel").click()
    page.wait_for_selector("#line-backtest:has-text('Stopped')")


def test_a_new_entry_shows_on_an_open_map_though_the_answer_takes_two_ticks(
    served, watch, monkeypatch
):
    page = watch.open_map(served.url)
    answered_after(monkeypatch, line_map, "growing_stores", 2 * GROWTH_MS)
    wait_until_started(page, started_by_somebody(served.project))


@pytest.mark.parametrize(
    "spoil",
    [
        pytest.param(lambda route: route.abort("internetdisconnected"), id="no signal"),
        pytest.param(lambda route: route.fulfill(status=500, body="broken"), id="broken"),
        pytest.param(lambda route: route.fulfill(status=403, body="{}"), id="refused"),
        pytest.param(
            lambda route: route.fulfill(status=200, body="{", content_type="application/json"),
            id="cut off",
        ),
    ],
)
def test_an_open_map_goes_on_asking_after_an_answer_that_did_not_come(served, watch, spoil):
    page = watch.context().new_page()  # which says in the console what did not come
    page.goto(served.url)
    page.wait_for_selector("#map-view[data-ready=yes]")
    page.wait_for_function("() => window.pourmap.state.statuses !== null")
    spoiled = []

    def spoil_once(route):
        if spoiled or not is_tick(route.request, "map-refresh"):
            return route.fallback()
        spoiled.append(route)
        return spoil(route)

    page.route(f"**{CALLBACKS}*", spoil_once)
    until(page, lambda: spoiled)
    wait_until_started(page, started_by_somebody(served.project))


def test_a_cancel_sent_together_with_a_tick_stops_the_forecast(served, watch, held_up):  # noqa: F811
    page = watch.open_map(served.url)
    page.wait_for_selector("#finish-wait-words:has-text('3,000 of 10,000 marches')")
    held, sent = [], []

    def hold(route):
        # While it is asked whether the log has grown, the rest is kept for what that may change.
        if not held and is_tick(route.request, "map-refresh"):
            held.append(route)
            return None
        if held and is_tick(route.request, "finish-wait-poll"):
            sent.append(route.request)
        return route.fallback()

    page.route(f"**{CALLBACKS}*", hold)
    until(page, lambda: held)
    sent.clear()  # what was on its way before
    ticks = ticks_of(page, "finish-wait-poll")
    until(page, lambda: ticks_of(page, "finish-wait-poll") > ticks + 1)
    page.get_by_role("button", name="Cancel").click()
    held[0].continue_()
    page.wait_for_selector("#finish-wait-words:has-text('Stopped after 3,000 of 10,000 marches')")
    together = {"finish-wait-poll.n_intervals", "finish-wait-cancel.n_clicks"}
    assert any(together <= changed(asked) for asked in sent)


def changed(asked):
    """Names of what set a callback off."""
    return set(asked.post_data_json["changedPropIds"])


def is_tick(asked, clock):
    return CALLBACKS in asked.url and f"{clock}.n_intervals" in changed(asked)


def ticks_of(page, clock):
    """How often a clock of the page has ticked."""
    return page.evaluate("(id) => window.dash_component_api.getLayout(id).props.n_intervals", clock)
