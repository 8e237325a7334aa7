"""A phone with no room left, and a browser that lets go of what it keeps: nothing is lost."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.entry_steps import entries, expect_state, open_entry, ready, recorded, send, tick

HEADING, *WORK = "W_from_east", "W23", "bottom_slab_stems"
TOLD = "cold front due at noon"

FULL = """() => {
  const put = IDBObjectStore.prototype.put;
  window.roomAgain = () => { IDBObjectStore.prototype.put = put; };
  IDBObjectStore.prototype.put = function (...args) {
    const request = put.apply(this, args);
    this.transaction.abort();
    return request;
  };
}"""
"""Stands in for a full disk, on which the browser undoes whatever it was to write."""

LET_GO = """() => {
  const transaction = IDBDatabase.prototype.transaction;
  IDBDatabase.prototype.transaction = function (...args) {
    IDBDatabase.prototype.transaction = transaction;
    this.close();
    return transaction.apply(this, args);
  };
}"""
"""Closes the database before it is next used, as browsers do to pages in the background."""


def note_on(page):
    return tick(page, HEADING, *WORK, "Note").get_by_role("textbox", name="Note")


def notes(served):
    return [event.note for event in recorded(served, *WORK) if event.kind == "note"]


def outlives_a_reload(page, served):
    """The entry is on the phone's disk, and goes to the log once when signal is back."""
    page.reload()
    ready(page)
    expect(entries(page, "queued")).to_have_count(1)
    page.context.set_offline(False)
    expect_state(page, "in the log")
    assert notes(served) == [TOLD]


def test_a_full_phone_still_sends_what_is_filled_in(watch, served):
    page = open_entry(watch, served.url)
    page.evaluate(FULL)
    note_on(page).fill(TOLD)
    expect(page.get_by_role("status").first).to_contain_text("what is filled in is not kept")
    send(page)
    expect_state(page, "1 entry is in the log")
    assert notes(served) == [TOLD]


def test_a_full_phone_without_signal_holds_what_is_sent_until_signal_comes_back(watch, served):
    page = open_entry(watch, served.url)
    page.evaluate(FULL)
    note_on(page).fill(TOLD)
    page.context.set_offline(True)
    send(page)
    expect(entries(page, "queued")).to_have_count(1)
    expect_state(page, "1 entry only on this page. Stay on it until all is sent")
    page.context.set_offline(False)
    expect_state(page, "1 entry is in the log")
    assert notes(served) == [TOLD]


def test_what_a_full_phone_has_sent_is_not_offered_again_after_a_reload(watch, served):
    page = open_entry(watch, served.url)
    note_on(page).fill(TOLD)
    page.wait_for_selector("html[data-drafts=kept]", state="attached")
    page.evaluate(FULL)
    send(page)
    expect_state(page, "1 entry is in the log")
    # What was filled in could not be written anew, and is taken off the phone instead.
    page.wait_for_selector("html[data-drafts=lost]", state="attached")
    page.reload()
    ready(page)
    expect(page.get_by_role("button", name="Review")).to_be_hidden()
    assert notes(served) == [TOLD]


def test_room_again_keeps_what_only_the_page_held(watch, served):
    page = open_entry(watch, served.url)
    page.evaluate(FULL)
    page.context.set_offline(True)
    note_on(page).fill(TOLD)
    send(page)
    expect_state(page, "only on this page")
    page.evaluate("roomAgain()")
    page.get_by_role("button", name="Try now").click()
    expect_state(page, "1 entry kept on this phone")
    outlives_a_reload(page, served)


def test_a_database_the_browser_has_closed_is_opened_again(watch, served):
    page = open_entry(watch, served.url)
    page.context.set_offline(True)
    note_on(page).fill(TOLD)
    page.wait_for_selector("html[data-drafts=kept]", state="attached")
    page.evaluate(LET_GO)
    send(page)
    expect_state(page, "1 entry kept on this phone")
    outlives_a_reload(page, served)
