"""Shift end on the demo, with what the forecast holds for likely: how few taps it takes."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.entry_steps import (
    WHO,
    choose_heading,
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
)

FORMS = ("W09", "deck_forms")
COUNT_TAPS = """() => {
    window.taps = 0;
    addEventListener("click", (event) => event.isTrusted && window.taps++, true);
}"""


TOO_WIDE = """() => {
    const edge = (one) => one.getBoundingClientRect().right;
    return [...document.querySelectorAll("legend, .entry-row, .proposal, .card")]
        .filter((one) => one.scrollWidth > one.clientWidth || edge(one) > edge(one.parentElement))
        .map((one) => one.textContent);
}"""


def proposal(page, words):
    return page.locator(".proposal").filter(has_text=words)


def test_a_usual_shift_is_five_taps(shift_end, watch):
    """Heading, forms of a span finished, those of the next begun, review, send."""
    page = open_entry(watch, shift_end.url)
    take_in_list(page)  # a tap is tried again where a button is drawn anew, and counts twice
    page.evaluate(COUNT_TAPS)
    choose_heading(page, "W_from_west")
    proposal(page, "W09 span 2 Deck forms: finished").click()
    proposal(page, "W09 span 3 Deck forms: started").click()
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    assert page.evaluate("window.taps") == 5
    told = [(event.kind, event.span) for event in recorded(shift_end, *FORMS, by=WHO)]
    assert sorted(told) == [("finish", "2"), ("start", "3")]
    expect(proposal(page, "W09 span 2")).to_have_count(0)


def test_each_proposal_says_why_in_words(shift_end, watch):
    page = open_entry(watch, shift_end.url)
    choose_heading(page, "W_from_west")
    expect(proposal(page, "W09 span 2")).to_contain_text("due this shift: 8 in 10")
    expect(page.get_by_role("button", name="W_from_west · 2 due")).to_be_visible()
    expect(page.locator("#entry-likely")).to_contain_text("says nothing about strength")


def test_a_second_tap_takes_a_proposal_back(shift_end, watch):
    page = open_entry(watch, shift_end.url)
    choose_heading(page, "W_from_west")
    due = proposal(page, "W09 span 2")
    due.click()
    expect(due).to_have_attribute("aria-pressed", "true")
    finished = row(page, *FORMS, span="2").get_by_role("button", name="Finished")
    expect(finished).to_have_attribute("aria-pressed", "true")
    due.click()
    expect(due).to_have_attribute("aria-pressed", "false")
    expect(page.locator("#entry-bar")).to_be_hidden()


MARKED = """(id) => {
  const button = document.getElementById(id);
  return button && getComputedStyle(button, '::before').content.startsWith('"✓ "');
}"""
"""Asked of the page until it is so, for a card is drawn anew when a list comes."""


def test_the_mark_of_what_is_ticked_is_seen_and_not_heard(shift_end, watch):
    """The browser's own names for a screen reader: "Finished", pressed, without "check mark"."""
    page = open_entry(watch, shift_end.url)
    choose_heading(page, "W_from_west")
    proposal(page, "W09 span 2").click()
    finished = row(page, *FORMS, span="2").get_by_role("button", name="Finished")
    page.wait_for_function(MARKED, arg=finished.get_attribute("id"))
    tree = page.context.new_cdp_session(page).send("Accessibility.getFullAXTree")
    heard = [node["name"]["value"] for node in tree["nodes"] if node.get("name")]
    assert "Finished" in heard
    assert [name for name in heard if "✓" in name] == []


def test_what_begins_where_other_work_ends_did_not_begin_with_the_shift(shift_end, watch):
    context = phone(watch)
    context.clock.set_fixed_time(shift_end.project.now())
    page = open_entry(watch, shift_end.url, context=context)
    choose_heading(page, "W_from_west")
    proposal(page, "W09 span 3").click()
    started = row(page, *FORMS, span="3").get_by_label("Started at")
    expect(started).to_have_value("15:30")


def test_a_pour_asks_for_its_loads_at_once(shift_end, watch):
    page = open_entry(watch, shift_end.url)
    choose_heading(page, "W_from_east")
    proposal(page, "W23 Bottom slab and stems: placed and finished").click()
    pour = row(page, "W23", "bottom_slab_stems")
    expect(pour.get_by_role("button", name="Add a load of 10")).to_be_focused()
    for kind in ("Placed", "Finished"):
        expect(pour.get_by_role("button", name=kind)).to_have_attribute("aria-pressed", "true")


def test_proposals_are_there_without_signal_and_are_kept_until_it_comes_back(shift_end, watch):
    page = open_entry(watch, shift_end.url)
    choose_heading(page, "W_from_west")
    page.context.set_offline(True)
    page.reload()
    ready(page)
    proposal(page, "W09 span 2").click()
    send(page)
    expect(entries(page, "queued")).to_have_count(1)
    expect(proposal(page, "W09 span 2")).to_have_count(0)
    page.context.set_offline(False)
    expect(entries(page, "sent")).to_have_count(1)
    assert [event.kind for event in recorded(shift_end, *FORMS, by=WHO)] == ["finish"]


def test_for_another_day_the_page_says_that_it_goes_by_building_order(shift_end, watch):
    page = open_entry(watch, shift_end.url)
    page.get_by_label("Day", exact=True).fill("2026-11-20")
    likely = page.locator("#entry-likely")
    expect(likely).to_contain_text("The forecast tells of Wed 25 Nov and Mon 30 Nov only")
    expect(likely).to_contain_text("building order")
    expect(page.locator(".proposal")).to_have_count(0)


def test_a_double_tap_of_wet_fingers_ticks_once(shift_end, watch):
    page = open_entry(watch, shift_end.url)
    choose_heading(page, "W_from_west")
    due = proposal(page, "W09 span 2")
    due.dblclick()
    expect(due).to_have_attribute("aria-pressed", "true")
    started = row(page, *FORMS, span="3").get_by_role("button", name="Started")
    started.dblclick()
    expect(started).to_have_attribute("aria-pressed", "true")


def test_a_long_name_of_a_unit_stays_inside_its_frame(shift_end, watch):
    long_name = "Frame_between_hinge_H7_and_abutment_16_westbound_stage_two"
    context = phone(watch)
    sheet = context.request.get(f"{shift_end.url}/api/entry-sheet").text()
    renamed = sheet.replace('"W09"', f'"{long_name}"')
    context.route(
        "**/api/entry-sheet*",
        lambda route: route.fulfill(content_type="application/json", body=renamed),
    )
    page = open_entry(watch, shift_end.url, context=context)
    choose_heading(page, "W_from_west")
    proposal(page, f"{long_name} span 2").click()
    assert page.evaluate(TOO_WIDE) == []
    page.get_by_role("button", name="Review 1 entry").click()
    assert page.evaluate(TOO_WIDE) == []


def test_every_target_is_large_enough_for_a_glove(shift_end, watch):
    page = open_entry(watch, shift_end.url)
    choose_heading(page, "W_from_west")
    proposal(page, "W09 span 2").click()
    assert small_targets(page) == []


def test_what_is_filled_in_is_not_said_to_be_sent(shift_end, watch):
    page = open_entry(watch, shift_end.url)
    choose_heading(page, "W_from_west")
    proposal(page, "W09 span 2").click()
    expect_state(page, "1 entry is filled in, not sent yet")
    send(page)
    expect_state(page, "1 entry is in the log")
