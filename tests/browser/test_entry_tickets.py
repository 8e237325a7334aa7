"""Load tickets in shift entry: numbers and times from the pour to the log, and back."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import expect

from dashboard.demo import open_demo
from model.project import Project
from tests.browser.conftest import PHONE, serving
from tests.browser.entry_steps import (
    WHO,
    entries,
    expect_state,
    open_entry,
    phone,
    ready,
    recorded,
    row,
    send,
    small_targets,
    take_in_list,
    tick,
)

POUR = ("W_from_east", "W23", "bottom_slab_stems")
MARKUP = "<b class=made>48213</b>"
KEEP_AN_OLD_DRAFT = """async ([unit, activity]) => {
    const { openKept } = await import("/assets/entry/kept.js");
    const { keyOf } = await import("/assets/entry/rows.js");
    const old = {
        unit, span: "", activity, id: "old", ids: {}, seen_seq: 1e6, did: { place: { time: "" } },
        tickets: ["9.50", "10"], amount: "8", measure_unit: "yd3", reason: "", words: "", note: "",
        note_open: false, files: [], corrects: null,
    };
    const kept = await openKept();
    const held = await kept.thing("drafts");
    await kept.putThing("drafts", { ...held, rows: { [keyOf(old)]: old } });
}"""


@dataclass
class Clock:
    """A clock that stands until it is set on."""

    shows: dt.datetime

    def __call__(self):
        return self.shows


class Pour:
    """The card of a pour; phone and server share a clock that the test sets on."""

    def __init__(self, watch, url, clock):
        self.clock = clock
        self.context = phone(watch)
        self.minutes_later(0)
        self.page = open_entry(watch, url, context=self.context)
        take_in_list(self.page)
        self.card = tick(self.page, *POUR, "Placed")

    def minutes_later(self, minutes):
        self.clock.shows += dt.timedelta(minutes=minutes)
        self.context.clock.set_fixed_time(self.clock.shows)

    def add(self, amount="", ticket=""):
        self.card.get_by_role("textbox", name="This load").fill(amount)
        self.card.get_by_label("Ticket no.").first.fill(ticket)
        self.card.get_by_role("button", name=re.compile("^Add")).click()

    def load(self, number):
        return self.card.get_by_role("button", name=re.compile(f"^Load {number}:"))

    def open_load(self, number):
        self.load(number).click()
        return self.card.get_by_role("group", name=f"Load {number}")


@pytest.fixture
def clock():
    """Five past six in the evening on the last day of the demo's log."""
    return Clock(dt.datetime(2026, 11, 24, 18, 5, tzinfo=ZoneInfo("America/Los_Angeles")))


@pytest.fixture
def served(tmp_path, clock):
    open_demo(tmp_path / "demo").close()
    with serving(Project.open(tmp_path / "demo", clock=clock)) as running:
        yield running


@pytest.fixture
def pour(served, watch, clock):
    return Pour(watch, served.url, clock)


def review(page):
    return page.get_by_role("region", name="Review before sending")


def notes(served):
    return [event.note for event in recorded(served, *POUR[1:], by=WHO)]


def test_tickets_and_times_of_a_pour_without_signal_reach_the_log(served, pour):
    pour.context.set_offline(True)
    pour.add(ticket="48213")
    pour.minutes_later(14)
    pour.add()
    pour.minutes_later(43)
    pour.add("9.5", "48217")
    send(pour.page)
    expect(entries(pour.page, "queued")).to_have_count(1)
    pour.context.set_offline(False)
    expect(entries(pour.page, "sent")).to_have_count(1)
    assert notes(served) == [
        "3 loads: 10 (ticket 48213, 18:05), 10 (18:19), 9.5 (ticket 48217, 19:02)"
    ]
    (event,) = recorded(served, *POUR[1:], by=WHO)
    assert str(event.quantity) == "29.5"


def test_a_long_wait_for_a_truck_and_a_ticket_told_twice_are_marked_and_sent_all_the_same(
    served, pour
):
    pour.add(ticket="48213")
    pour.minutes_later(31)
    pour.add(ticket="48213")
    pour.page.get_by_role("button", name="Review 1 entry").click()
    odd = pour.page.locator(".odd")
    expect(odd).to_contain_text("Ticket 48213 is tallied more than once.")
    expect(odd).to_contain_text("More than 30 minutes between loads 1 (18:05) and 2 (18:36)")
    expect(odd).to_contain_text("for the engineer of record to look at")
    expect(review(pour.page)).to_contain_text("It can be sent as it is.")
    pour.page.get_by_role("button", name="Send", exact=True).click()
    expect(entries(pour.page, "sent")).to_have_count(1)
    assert notes(served) == ["2 loads: 10 (ticket 48213, 18:05), 10 (ticket 48213, 18:36)"]


def test_the_review_does_not_say_that_it_can_be_sent_where_the_log_refuses_it(served, pour):
    """The limit is that of ``model.acceptance``: 150 % of what is planned at once."""
    pour.add("950")
    pour.page.get_by_role("button", name="Review 1 entry").click()
    expect(review(pour.page)).to_contain_text("Look again at 1 marked row.")
    expect(review(pour.page)).to_contain_text("the log refuses that as a slip of the hand")
    expect(review(pour.page)).not_to_contain_text("It can be sent")
    pour.page.get_by_role("button", name="Send", exact=True).click()
    expect(entries(pour.page, "refused")).to_have_count(1)
    assert notes(served) == []


def test_what_needs_a_choice_is_one_tap_away_from_the_line_that_says_so(pour):
    pour.add("950")
    send(pour.page)
    expect_state(pour.page, "1 entry needs you.")
    pour.page.get_by_role("button", name="See below").click()
    needs = entries(pour.page, "refused")
    expect(needs).to_be_focused()
    expect(needs.get_by_role("button", name="Change")).to_be_in_viewport()


def gap(upper, lower):
    """Return the pixels between two parts, one below the other."""
    above = upper.bounding_box()
    return lower.bounding_box()["y"] - above["y"] - above["height"]


def test_the_tally_of_a_long_pour_stays_by_the_button_that_adds(pour):
    for _ in range(12):
        pour.add()
    adds = pour.card.get_by_role("button", name="Add a load of 10 yd³")
    tally = pour.card.get_by_text("12 loads, 120 yd³")
    assert 0 <= gap(adds, tally) < 24


def test_a_thumb_between_two_loads_removes_neither(pour):
    for _ in range(2):
        pour.add()
    first, second = pour.card.get_by_role("button", name="Remove this load").all()
    assert gap(first, second) >= 8


def test_a_load_is_still_added_by_one_tap_and_many_at_once_have_no_times(served, pour):
    pour.page.evaluate("window.taps = 0; addEventListener('click', () => window.taps++, true)")
    for _ in range(3):
        pour.card.get_by_role("button", name="Add a load of 10 yd³").click()
    assert pour.page.evaluate("window.taps") == 3
    send(pour.page)
    expect(entries(pour.page, "sent")).to_have_count(1)
    assert notes(served) == ["3 loads: 10, 10, 10"]


def test_a_load_tapped_twice_by_wet_fingers_has_its_time_once_the_other_is_removed(served, pour):
    pour.add()
    expect(pour.load(1)).to_have_text("Load 1: 10 yd³18:05")
    pour.add()
    expect(pour.load(1)).to_have_text("Load 1: 10 yd³")
    pour.card.get_by_role("button", name="Remove this load, number 2").click()
    expect(pour.load(1)).to_have_text("Load 1: 10 yd³18:05")


def test_a_load_opens_to_write_its_number_time_and_amount_or_to_clear_them(served, pour):
    for ticket in ("48213", "48214", ""):
        pour.add(ticket=ticket)
    first = pour.open_load(1)
    assert small_targets(pour.page) == []
    first.get_by_label("Time").fill("17:40")
    first.get_by_label("Amount").fill("9")
    expect(pour.load(1)).to_contain_text("ticket 48213, 17:40")
    expect(pour.load(2)).to_contain_text("no time")
    second = pour.open_load(2)
    expect(first).to_have_count(0)
    second.get_by_label("Ticket no.").fill("")
    second.get_by_label("Time").fill("17:50")
    second.get_by_role("button", name="Clear the time").click()
    expect(second.get_by_label("Time")).to_be_focused()
    pour.open_load(3).get_by_label("Ticket no.").fill("48216 (copy, 2)")
    send(pour.page)
    expect(entries(pour.page, "sent")).to_have_count(1)
    assert notes(served) == ["3 loads: 9 (ticket 48213, 17:40), 10, 10 (ticket 48216 copy 2)"]
    (event,) = recorded(served, *POUR[1:], by=WHO)
    assert str(event.quantity) == "29"


def test_loads_of_an_earlier_day_have_no_time_but_the_one_that_is_written(served, pour):
    pour.page.get_by_text(f"{WHO} · ").click()
    pour.page.get_by_label("Day", exact=True).fill("2026-11-23")
    pour.add(ticket="48213")
    expect(pour.load(1)).to_have_text("Load 1: 10 yd³ticket 48213")
    pour.open_load(1).get_by_label("Time").fill("14:20")
    expect(pour.load(1)).to_contain_text("ticket 48213, 14:20")


def test_a_ticket_without_a_load_and_a_time_to_come_are_said_before_it_is_sent(served, pour):
    pour.add()
    pour.open_load(1).get_by_label("Time").fill("23:10")
    pour.card.get_by_label("Ticket no.").first.fill("48214")
    pour.page.get_by_role("button", name="Review 1 entry").click()
    said = pour.page.get_by_role("alert")
    expect(said).to_contain_text("Ticket 48214 has no load yet")
    expect(said).to_contain_text("Load 1: 23:10 is later than now")


def test_what_is_to_be_put_right_names_its_work_and_leads_to_the_field(pour):
    pour.add("60,5")
    pour.page.get_by_role("button", name="Review 1 entry").click()
    said = pour.page.get_by_role("alert")
    said.get_by_role("button", name="W23 Bottom slab and stems").click()
    amount = pour.card.get_by_role("textbox", name="This load")
    expect(amount).to_be_focused()
    expect(amount).to_be_in_viewport()


def test_enter_in_the_ticket_field_adds_the_load_and_stays_there_for_the_next(pour):
    field = pour.card.get_by_label("Ticket no.").first
    field.fill("48213")
    field.press("Enter")
    expect(pour.load(1)).to_contain_text("ticket 48213")
    expect(field).to_be_focused()
    expect(field).to_have_value("")


def test_a_draft_with_tickets_survives_a_reload(pour):
    pour.add(ticket="48213")
    pour.minutes_later(14)
    pour.add("9.50")
    pour.card.get_by_label("Ticket no.").first.fill("48215")
    pour.page.wait_for_selector("html[data-drafts=kept]", state="attached")
    pour.page.reload()
    ready(pour.page)
    tick(pour.page, *POUR)
    expect(pour.load(1)).to_contain_text("ticket 48213, 18:05")
    expect(pour.load(2)).to_contain_text("9.50 yd³18:19")
    expect(pour.card.get_by_label("Ticket no.").first).to_have_value("48215")


def test_a_draft_that_an_earlier_version_of_the_page_kept_still_opens(served, watch):
    page = open_entry(watch, served.url)
    page.evaluate(KEEP_AN_OLD_DRAFT, list(POUR[1:]))
    page.reload()
    ready(page)
    work = tick(page, *POUR)
    expect(work).to_contain_text("3 loads, 27.50 yd³")
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    assert notes(served) == ["3 loads: 9.50, 10, 8"]


def test_a_correction_from_another_phone_brings_the_tickets_back(served, watch, pour):
    pour.add(ticket="48213")
    pour.minutes_later(14)
    pour.add(ticket="48214")
    send(pour.page)
    expect(entries(pour.page, "sent")).to_have_count(1)

    fresh = open_entry(watch, served.url)
    fresh.get_by_label("Your name").blur()
    entries(fresh, "told").get_by_role("button", name="Correct").click()
    work = row(fresh, *POUR[1:])
    work.get_by_role("button", name="Load 2: 10 yd³").click()
    opened = work.get_by_role("group", name="Load 2")
    expect(opened.get_by_label("Time")).to_have_value("18:19")
    opened.get_by_label("Ticket no.").fill("48215")
    work.get_by_role("button", name="Add a load").click()
    send(fresh)
    expect(entries(fresh, "sent")).to_have_count(1)
    # What is added to a correction came earlier: the clock tells nothing of it.
    corrected = "3 loads: 10 (ticket 48213, 18:05), 10 (ticket 48215, 18:19), 10"
    assert notes(served) == [
        "2 loads: 10 (ticket 48213, 18:05), 10 (ticket 48214, 18:19)",
        corrected,
    ]


def test_a_ticket_is_text_wherever_it_is_shown_and_reads_well_in_the_day_book(served, watch, pour):
    pour.add("9.5", MARKUP)
    expect(pour.load(1)).to_contain_text(MARKUP)
    pour.page.get_by_role("button", name="Review 1 entry").click()
    expect(review(pour.page)).to_contain_text(MARKUP)
    pour.page.get_by_role("button", name="Send", exact=True).click()
    expect(entries(pour.page, "sent")).to_contain_text(MARKUP)
    book = watch.open(f"{served.url}/daybook?day=2026-11-24", PHONE)
    expect(book.locator("#day-book")).to_contain_text(f"1 load: 9.5 (ticket {MARKUP}, 18:05)")
    for page in (pour.page, book):
        assert page.locator(".made").count() == 0
