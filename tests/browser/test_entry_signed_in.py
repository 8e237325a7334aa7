"""Shift entry where the project has users: entries outlive a session and keep their author."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.entry_steps import (
    entries,
    expect_state,
    phone,
    ready,
    recorded,
    send,
    tick,
)
from tests.model.people import PASSWORD

UNDER_WAY = ("W_from_east", "W23", "bottom_slab_stems")
NEXT = ("W_from_east", "W22", "falsework")
HEADINGS = ("W_from_east",)


@pytest.fixture
def people(served):
    add = served.project.membership.add
    add("Pia Storm", "administrator", PASSWORD)
    add("Ines Quarrow", "superintendent", PASSWORD, HEADINGS)
    add("Bram Oskrey", "superintendent", PASSWORD, HEADINGS)
    add("Lew Marsh", "owner", PASSWORD)
    return served.project.membership


def sign_in(page, served, name):
    page.goto(f"{served.url}/sign-in?next=/entry")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/entry")
    ready(page)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")


@pytest.fixture
def page(served, watch, people):
    page = phone(watch).new_page()
    page.on("pageerror", lambda error: watch.faults.append(str(error)))
    sign_in(page, served, "Ines Quarrow")
    return page


def test_an_entry_carries_the_name_of_who_is_signed_in(served, page):
    expect(page.get_by_role("group", name="Heading").get_by_role("button")).to_have_count(1)
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    assert recorded(served, *UNDER_WAY[1:])[-1].by == "Ines Quarrow"


def test_an_entry_outlives_the_session_it_was_made_in(served, page, people):
    people.sign_out_everywhere(people.user("Ines Quarrow"))
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect_state(page, "Signed out: 1 entry kept on this phone")
    page.get_by_role("link", name="Sign in").click()
    page.get_by_label("Name").fill("Ines Quarrow")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(entries(page, "sent")).to_have_count(1)
    assert recorded(served, *UNDER_WAY[1:])[-1].kind == "finish"


def test_a_phone_handed_on_sends_nothing_under_the_next_ones_name_unasked(served, page, people):
    before = len(recorded(served, *UNDER_WAY[1:]))
    people.sign_out_everywhere(people.user("Ines Quarrow"))
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect_state(page, "Signed out")
    sign_in(page, served, "Bram Oskrey")
    expect(entries(page, "queued")).to_contain_text("Filled in by Ines Quarrow")
    assert len(recorded(served, *UNDER_WAY[1:])) == before
    entries(page, "queued").get_by_role("button", name="Send as Bram Oskrey").click()
    expect(entries(page, "sent")).to_have_count(1)
    assert recorded(served, *UNDER_WAY[1:])[-1].by == "Bram Oskrey"


NO_LIST_KEPT = """async () => {
    const { openKept } = await import("/assets/entry/kept.js");
    return !(await (await openKept()).thing("sheet"));
}"""


def test_a_phone_signed_out_of_shows_the_next_one_no_list_and_keeps_what_is_filled_in(served, page):
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    tick(page, *NEXT, "Started")
    expect_state(page, "1 entry is filled in")
    page.goto(f"{served.url}/account")
    page.get_by_role("button", name="Sign out", exact=True).click()
    expect(page.get_by_role("status")).to_contain_text("You are signed out")
    page.wait_for_function(NO_LIST_KEPT)
    page.goto(f"{served.url}/entry")
    expect_state(page, "Signed out")
    expect(page.locator("#entry-rows")).to_contain_text("The list of units has not come yet")
    expect(page.locator("body")).not_to_contain_text("Ines Quarrow")
    expect(entries(page, "sent")).to_have_count(0)
    sign_in(page, served, "Ines Quarrow")
    expect_state(page, "1 entry is filled in")


def test_who_only_reads_is_told_before_filling_in(served, watch, people):
    page = phone(watch).new_page()
    sign_in(page, served, "Lew Marsh")
    page.locator("#shift-panel-summary").click()
    expect(page.get_by_text("Your role reads only")).to_be_visible()
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect(entries(page, "refused")).to_be_visible()
    assert recorded(served, *UNDER_WAY[1:], by="Lew Marsh") == []
