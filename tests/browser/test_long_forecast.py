"""A forecast that takes long, in a real browser: seen, stopped, and worked out after all."""

import datetime as dt
import threading

import pytest

from dashboard.parts import forecast_wait
from model import line_answers
from model.events import Event
from tests.browser.conftest import DESKTOP, PHONE
from tests.browser.test_accessibility import faults

BLOCK = 3_000


@pytest.fixture
def held_up(monkeypatch):
    """Every forecast is long and stands after its first block until it is let go or stopped."""
    go_on = threading.Event()
    original = line_answers.project_finish

    def slow(*job, paths, on_block=None, **more):
        more_wanted = on_block(BLOCK, paths)
        while more_wanted and not go_on.wait(0.05):
            more_wanted = on_block(BLOCK, paths)
        return original(*job, paths=paths if more_wanted else BLOCK, **more)

    monkeypatch.setattr(line_answers, "LONG_CELLS", 1)
    monkeypatch.setattr(line_answers, "project_finish", slow)
    monkeypatch.setattr(forecast_wait, "AT_ONCE_S", 0.0)
    yield go_on
    go_on.set()


def a_note(text):
    """Something that moves no date."""
    at = dt.datetime(2026, 11, 24, 14, 0)
    return Event(event_id=f"note-{text}", at=at, by="R. Alder", unit="W07", activity="rebar",
                 kind="note", note=text)  # fmt: skip


def test_on_the_map_a_long_forecast_is_seen_stopped_and_worked_out(served, watch, held_up):
    page = watch.open_map(served.url)
    bar = page.locator("#finish-wait [role=progressbar]")
    bar.wait_for()
    page.wait_for_selector("#finish-wait-words:has-text('3,000 of 10,000 marches')")
    assert bar.get_attribute("aria-valuenow") == "30"
    page.get_by_role("button", name="Cancel").click()
    page.wait_for_selector("#finish-wait-words:has-text('Stopped after 3,000 of 10,000 marches')")
    page.wait_for_selector("#finish-card:has-text('80 % sure by')")
    held_up.set()
    page.get_by_role("button", name="Run it again").click()
    page.wait_for_selector("#finish-wait", state="hidden")
    finish = served.project.forecast().finish.p50
    assert f"{finish.day} {finish:%b %Y}" in page.locator("#finish-card").inner_text()


def test_the_line_page_says_how_far_it_is_and_then_comes(served, watch, held_up):
    page = watch.open(f"{served.url}/line")
    page.wait_for_selector("#line-wait-words:has-text('3,000 of 10,000 marches')")
    page.get_by_role("button", name="Cancel").click()
    page.wait_for_selector("#line-wait-words:has-text('nothing is shown yet')")
    held_up.set()
    page.get_by_role("button", name="Run it again").click()
    page.wait_for_selector(".lag-summary:has-text('Lags most')")
    page.wait_for_selector("#line-chart .js-plotly-plot .bars path")
    assert page.locator("#line-wait").count() == 0


def test_an_open_line_page_shows_how_far_newer_dates_are_and_can_stop_them(served, watch, held_up):
    held_up.set()
    page = watch.open(f"{served.url}/line")
    page.wait_for_selector("#line-chart .js-plotly-plot .bars path")
    shown = page.locator(".lag-summary").inner_text()
    held_up.clear()
    served.project.record([a_note("held up")])
    page.wait_for_selector("#line-newer-wait-words:has-text('before the latest event recorded')")
    page.wait_for_selector("#line-newer-wait-words:has-text('3,000 of 10,000 marches')")
    page.get_by_role("button", name="Cancel").first.click()
    page.wait_for_selector(f"#line-newer-wait-words:has-text('{forecast_wait.OLDER_STAYS}')")
    assert page.locator(".lag-summary").inner_text() == shown
    held_up.set()
    page.get_by_role("button", name="Run it again").click()
    page.wait_for_selector("#line-newer-wait", state="hidden")


def test_a_forecast_that_is_done_at_once_shows_no_wait(served, watch):
    page = watch.open_map(served.url)
    page.wait_for_selector("#finish-card:has-text('80 % sure by')")
    assert page.locator("#finish-wait").is_hidden()


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desk", "phone"])
def test_while_dates_are_worked_out_the_cards_are_marked_and_can_still_be_read(
    served, watch, monkeypatch, size
):
    original, go_on = line_answers.project_finish, threading.Event()

    def slow(*job, **more):
        assert go_on.wait(60)
        return original(*job, **more)

    monkeypatch.setattr(line_answers, "project_finish", slow)
    page = watch.open_map(served.url, size)
    style = "getComputedStyle(document.querySelector('#finish-card .number-card')).outlineStyle"
    page.wait_for_function(f"() => {style} === 'dashed'")
    assert faults(page) == []
    go_on.set()
    page.wait_for_selector("#finish-card:has-text('80 % sure by')")
    page.wait_for_function(f"() => {style} === 'none'")
