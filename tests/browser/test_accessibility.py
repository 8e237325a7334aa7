"""No serious fault of accessibility on any page, at a desk and on a phone.

Rules and their impact are those of axe-core (WCAG 2 A and AA and good practice).
"""

from __future__ import annotations

import pytest

from dashboard.app import LINKS
from tests.browser.conftest import DESKTOP, PHONE
from tests.browser.entry_steps import choose_heading, open_entry, send, take_in_list, tick

axe = pytest.importorskip("axe_playwright_python.sync_playwright")
SERIOUS = ("serious", "critical")
SIZES = [pytest.param(DESKTOP, id="desk"), pytest.param(PHONE, id="phone")]


def faults(page):
    """Return what axe calls serious, with the elements it means."""
    found = axe.Axe().run(page).response["violations"]
    return [
        f"{rule['id']}: {rule['help']}: {node['html'][:160]}"
        for rule in found
        if rule["impact"] in SERIOUS
        for node in rule["nodes"]
    ]


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("path", [*(page.PATH for page in LINKS), "/sign-in", "/no-such-page"])
def test_a_page_has_no_serious_fault(served, watch, path, size):
    page = watch.open(served.url + path, size)
    ready = {
        "/": "#map-view[data-ready=yes]",
        "/line": "#line-backtest .lead",
        "/entry": "html[data-ready=yes]",
    }
    page.wait_for_selector(ready.get(path, "main > *"))
    page.wait_for_load_state("networkidle")
    assert faults(page) == []


def test_a_filled_in_entry_has_no_serious_fault_at_any_step(served, watch):
    page = open_entry(watch, served.url)
    take_in_list(page)
    work = tick(page, "W_from_east", "W23", "bottom_slab_stems", "Placed", "Hold", "Note")
    work.get_by_role("button", name="Add a load").click()
    page.get_by_text("Weather lost").click()
    page.get_by_text("Other work on this heading").click()
    assert faults(page) == [], "filled in"
    page.get_by_role("button", name="Review 1 entry").click()
    assert faults(page) == [], "with what is wrong said"
    work.get_by_role("button", name="Waiting for survey").click()
    page.get_by_role("button", name="Review 1 entry").click()
    assert faults(page) == [], "in review"
    page.get_by_role("button", name="Send", exact=True).click()
    page.wait_for_selector(".outbox-item[data-state=sent]")
    assert faults(page) == [], "sent"


def test_what_is_proposed_has_no_serious_fault_taken_or_not(shift_end, watch):
    page = open_entry(watch, shift_end.url)
    choose_heading(page, "W_from_west")
    page.locator(".proposal").first.click()
    page.locator("#likely-later-summary").click()
    assert faults(page) == []


def test_the_day_book_as_cards_has_no_serious_fault(served, watch):
    page = watch.open(f"{served.url}/daybook?date=2026-11-24", PHONE)
    page.wait_for_selector(".day-book-table")
    assert faults(page) == []


def test_every_target_on_a_phone_is_large_enough_for_a_thumb(served, watch):
    page = open_entry(watch, served.url)
    work = tick(page, "W_from_east", "W23", "bottom_slab_stems", "Placed", "Hold", "Note")
    work.get_by_role("button", name="Add a load").click()
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, input, select, textarea, summary, a")]
            .filter((node) => node.checkVisibility() && !node.matches(".only-read-aloud"))
            .map((node) => [node.closest("label.check-line") || node, node])
            .filter(([target]) => target.getBoundingClientRect().height < 44)
            .map(([, node]) => node.outerHTML.slice(0, 120))"""
    )
    assert small == []


def test_text_is_never_smaller_than_sixteen_pixels(served, watch):
    page = open_entry(watch, served.url)
    choose_heading(page, "W_from_east")
    tick(page, "W_from_east", "W23", "bottom_slab_stems", "Finished")
    send(page)
    page.wait_for_selector(".outbox-item")
    smallest = page.evaluate(
        """() => Math.min(...[...document.querySelectorAll("body *")]
            .filter((node) => node.checkVisibility() && node.innerText)
            .map((node) => parseFloat(getComputedStyle(node).fontSize)))"""
    )
    assert smallest >= 16


@pytest.mark.parametrize("size", SIZES)
def test_nothing_runs_over_the_edge_of_the_screen(served, watch, size):
    page = watch.open(f"{served.url}/entry", size)
    page.wait_for_selector("html[data-ready=yes]")
    tick(page, "W_from_east", "W23", "bottom_slab_stems", "Placed", "Hold", "Note")
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0
