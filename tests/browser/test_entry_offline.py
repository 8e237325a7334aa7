"""Shift entry where signal is poor: nothing typed is lost, nothing is counted twice."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import CHROMIUM, FLAGS, PHONE
from tests.browser.entry_steps import (
    WHO,
    choose_heading,
    entries,
    expect_state,
    let_it_try_only_when_told,
    open_entry,
    phone,
    ready,
    recorded,
    row,
    send,
    take_in_list,
    tick,
    until,
)
from tests.model.builders import an_event

# Of the demo on its own day: under way, and next to be poured.
UNDER_WAY = ("W_from_east", "W23", "bottom_slab_stems")
NEXT_POUR = ("W_from_east", "W25", "deck_pour")


def load_of(work):
    return work.get_by_role("textbox", name="This load")


def note_of(work):
    return work.get_by_role("textbox", name="Note")


def mine(served, work):
    return recorded(served, *work[1:], by=WHO)


def test_an_entry_made_without_signal_is_in_the_log_once_when_signal_is_back(served, watch):
    page = open_entry(watch, served.url)
    page.context.set_offline(True)
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect_state(page, "No signal: 1 entry kept on this phone")
    assert mine(served, UNDER_WAY) == []
    page.context.set_offline(False)
    expect(entries(page, "sent")).to_have_count(1)
    expect_state(page, "1 entry is in the log")
    assert [event.kind for event in mine(served, UNDER_WAY)] == ["finish"]


def test_the_page_opens_without_signal_and_lists_the_units(served, watch):
    page = open_entry(watch, served.url)
    page.context.set_offline(True)
    page.reload()
    ready(page)
    expect_state(page, "No signal")
    tick(page, *UNDER_WAY, "Finished")


def test_a_link_to_a_unit_opens_on_it_without_signal_too(served, watch):
    page = open_entry(watch, served.url)
    page.context.set_offline(True)
    page.goto(f"{served.url}/entry?heading=W_from_east&unit=W22")
    ready(page)
    first = page.locator("fieldset.entry-row").first
    expect(first).to_have_attribute("data-unit", "W22")
    expect(first).to_be_in_viewport()
    expect(page.get_by_role("button", name="W_from_east")).to_have_attribute("aria-pressed", "true")
    page.goto(f"{served.url}/entry?heading=W_from_east&unit=W99")
    ready(page)
    expect(page.get_by_text("unit W99, which is not in this list")).to_be_visible()


def test_an_entry_outlives_the_tab_that_made_it(served, watch):
    context = phone(watch)
    page = open_entry(watch, served.url, context=context)
    context.set_offline(True)
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect_state(page, "No signal: 1 entry kept on this phone")
    page.close()
    again = context.new_page()
    again.goto(f"{served.url}/entry")
    ready(again)
    expect(entries(again, "queued")).to_have_count(1)
    context.set_offline(False)
    expect(entries(again, "sent")).to_have_count(1)
    assert [event.kind for event in mine(served, UNDER_WAY)] == ["finish"]


def test_a_draft_survives_a_reload_down_to_its_digits(served, watch):
    page = open_entry(watch, served.url)
    work = tick(page, *UNDER_WAY, "Placed", "Note")
    load_of(work).fill("9.50")
    work.get_by_role("button", name="Add this load").click()
    load_of(work).fill("7.2")
    note_of(work).fill("pump moved to the east side")
    page.reload()
    ready(page)
    work = tick(page, *UNDER_WAY)
    expect(work.get_by_text("Load 1: 9.50 yd³")).to_be_visible()
    expect(load_of(work)).to_have_value("7.2")
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    (event,) = mine(served, UNDER_WAY)
    assert (event.quantity, str(event.quantity)) == (Decimal("16.70"), "16.70")
    told = r"2 loads: 9\.50 \(\d\d:\d\d\), 7\.2\. pump moved to the east side"
    assert re.fullmatch(told, event.note)


def test_a_double_tap_on_send_records_once(served, watch):
    page = open_entry(watch, served.url)
    tick(page, *NEXT_POUR, "Started")
    page.get_by_role("button", name="Review 1 entry").click()
    page.get_by_role("button", name="Send", exact=True).dblclick()
    expect(entries(page, "sent")).to_have_count(1)
    assert [event.kind for event in mine(served, NEXT_POUR)] == ["start"]


def test_an_entry_whose_answer_was_lost_is_sent_again_and_counts_once(served, watch):
    page = open_entry(watch, served.url)
    take_in_list(page)  # that it comes says that the server answers again
    let_it_try_only_when_told(page)
    lost = []

    def lose_the_answer(route):
        lost.append(route.fetch().status)  # the server did get it
        route.abort()

    page.route("**/api/events", lose_the_answer, times=1)
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect_state(page, "No signal: 1 entry kept on this phone")
    assert lost == [200]
    # It may be in the log, so it can be neither changed nor thrown away now.
    expect(entries(page, "queued").get_by_role("button")).to_have_count(0)
    page.get_by_role("button", name="Try now").click()
    expect(entries(page, "sent")).to_have_count(1)
    assert [event.kind for event in mine(served, UNDER_WAY)] == ["finish"]


def test_an_entry_made_without_signal_can_still_be_changed(served, watch):
    page = open_entry(watch, served.url)
    page.context.set_offline(True)
    tick(page, *UNDER_WAY, "Hold").get_by_role("button", name="Waiting for survey").click()
    send(page)
    entries(page, "queued").get_by_role("button", name="Change").click()
    expect(page.locator(".outbox-item")).to_have_count(0)
    work = tick(page, *UNDER_WAY)
    work.get_by_role("button", name="Waiting for survey").click()
    work.get_by_role("button", name="Equipment down").click()
    send(page)
    page.context.set_offline(False)
    expect(entries(page, "sent")).to_have_count(1)
    assert [event.reason for event in mine(served, UNDER_WAY)] == ["Equipment down"]


def test_while_a_refused_entry_stands_a_later_one_of_its_unit_waits(served, watch):
    page = open_entry(watch, served.url)
    work = tick(page, *NEXT_POUR, "Started")
    work.get_by_role("button", name="Placed", exact=True).click()
    load_of(work).fill("99999")
    send(page)
    expect(entries(page, "refused")).to_contain_text("far over plan")
    assert mine(served, NEXT_POUR) == [], "all of an entry, or nothing"
    note_of(tick(page, *NEXT_POUR, "Note")).fill("pump on site")
    send(page)
    expect(entries(page, "queued")).to_contain_text("waits for the entry before it")
    entries(page, "refused").get_by_role("button", name="Leave mine out").click()
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(entries(page, "sent")).to_have_count(1)
    assert [event.kind for event in mine(served, NEXT_POUR)] == ["note"]


@pytest.mark.parametrize(
    "answer",
    [
        {"content_type": "text/html", "body": "<h1>Welcome to this network</h1>"},
        {"content_type": "application/json", "body": '{"ok": true}'},
    ],
)
def test_who_answers_in_the_servers_place_does_not_make_an_entry_count_as_sent(
    served, watch, answer
):
    page = open_entry(watch, served.url)
    page.route("**/api/**", lambda route: route.fulfill(status=200, **answer))
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect_state(page, "1 entry kept on this phone; it is tried again")
    expect(entries(page, "queued")).to_have_count(1)
    page.unroute("**/api/**")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(entries(page, "sent")).to_have_count(1)
    assert [event.kind for event in mine(served, UNDER_WAY)] == ["finish"]


def test_the_browser_finds_nothing_against_installing_the_page(served, browser, tmp_path):
    """Chromium is asked what it has against putting the page on the home screen."""
    with browser.browser_type.launch_persistent_context(
        tmp_path, executable_path=CHROMIUM, args=FLAGS, viewport=PHONE
    ) as context:
        page = context.new_page()
        page.goto(f"{served.url}/entry")
        ready(page)
        page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        devtools = context.new_cdp_session(page)
        assert devtools.send("Page.getInstallabilityErrors")["installabilityErrors"] == []
        assert devtools.send("Page.getAppManifest")["errors"] == []


def test_a_list_that_was_asked_for_earlier_and_comes_later_does_not_take_a_newer_one_s_place(
    served, watch
):
    page = open_entry(watch, served.url)
    page.get_by_label("Your name").blur()
    held = []

    def hold(route):
        held.append(route)

    def ask_for_the_list():
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")

    page.route("**/api/entry-sheet*", hold, times=1)
    ask_for_the_list()
    until(page, lambda: held)
    (late,) = held
    answer = late.fetch()
    choose_heading(page, UNDER_WAY[0])
    work = row(page, *UNDER_WAY[1:])
    expect(work).to_contain_text("0 of 604.4 yd³")
    now = served.project.now().replace(tzinfo=None)
    unit, activity = UNDER_WAY[1:]
    placed = {"quantity": "30", "measure_unit": "yd3", "by": "Ada Thorn"}
    served.project.record([an_event("place", now, unit, activity=activity, **placed)])
    ask_for_the_list()
    expect(work).to_contain_text("30 of 604.4 yd³")
    with page.expect_response("**/api/entry-sheet*"):
        late.fulfill(response=answer)
    page.evaluate("new Promise((done) => setTimeout(done, 0))")
    expect(work).to_contain_text("30 of 604.4 yd³")
