"""No tap on the shift entry page is lost, and no panel closes, because it is drawn anew."""

from __future__ import annotations

import re

from playwright.sync_api import expect

from tests.browser.entry_steps import (
    choose_heading,
    entries,
    expect_state,
    let_a_list_come,
    let_another_tab_change_what_is_kept,
    let_it_try_only_when_told,
    open_entry,
    row,
    send,
    take_in_list,
    tick,
)

UNDER_WAY = ("W_from_east", "W23", "bottom_slab_stems")
LARGE = {
    "name": "stem.jpg",
    "mimeType": "image/jpeg",
    "buffer": b"\xff\xd8\xff\xe0" + bytes(10 * 2**20),
}


def open_with_list(watch, served):
    page = open_entry(watch, served.url)
    take_in_list(page)
    return page


def pressed_while(page, button, something_happens):
    """Press a button, let something happen, and let go where the button was."""
    button.hover()
    page.mouse.down()
    something_happens()
    page.mouse.up()


def test_a_tap_on_change_is_not_lost_when_another_tab_changes_what_is_kept(served, watch):
    page = open_with_list(watch, served)
    page.context.set_offline(True)
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    change = entries(page, "queued").get_by_role("button", name="Change")
    pressed_while(page, change, lambda: let_another_tab_change_what_is_kept(page))
    expect(page.locator(".outbox-item")).to_have_count(0)
    finished = row(page, *UNDER_WAY[1:]).get_by_role("button", name="Finished")
    expect(finished).to_have_attribute("aria-pressed", "true")


def test_what_came_while_a_button_was_pressed_is_shown_when_it_is_let_go(served, watch):
    page = open_with_list(watch, served)
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    second = page.context.new_page()
    second.goto(page.url)
    page.locator("h1").hover()
    page.mouse.down()
    entries(second, "sent").get_by_role("button", name="Correct").click()
    tick(second, *UNDER_WAY, "Note").get_by_role("textbox", name="Note").fill("stem 2 too")
    send(second)
    expect(entries(second, "sent")).to_have_count(2)
    let_another_tab_change_what_is_kept(page)
    expect(entries(page, "sent")).to_have_count(1)
    page.mouse.up()
    expect(entries(page, "sent")).to_have_count(2)


def test_a_tap_on_try_now_is_not_lost_when_its_line_says_something_else(served, watch):
    page = open_with_list(watch, served)
    let_it_try_only_when_told(page)
    page.route("**/api/events", lambda route: route.fulfill(status=503, body=""), times=1)
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect_state(page, "The server has trouble")
    watch.faults.clear()  # the browser's own line about the 503
    pressed_while(
        page,
        page.get_by_role("button", name="Try now"),
        lambda: page.evaluate("window.dispatchEvent(new Event('offline'))"),
    )
    expect(entries(page, "sent")).to_have_count(1)


def test_a_press_of_the_space_bar_is_not_lost_when_a_list_comes(served, watch):
    page = open_with_list(watch, served)
    heading = page.get_by_role("group", name="Heading").get_by_role("button", name="W_from_east")
    heading.focus()
    page.keyboard.down("Space")
    let_a_list_come(page)
    page.keyboard.up("Space")
    expect(heading).to_have_attribute("aria-pressed", "true")


def test_leaving_an_entry_out_sends_what_waited_for_it(served, watch):
    page = open_with_list(watch, served)
    let_it_try_only_when_told(page)
    work = tick(page, *UNDER_WAY, "Placed")
    work.get_by_role("textbox", name="This load").fill("99999")
    send(page)
    expect(entries(page, "refused")).to_have_count(1)
    tick(page, *UNDER_WAY, "Note").get_by_role("textbox", name="Note").fill("pump on site")
    send(page)
    expect(entries(page, "queued")).to_contain_text("waits for the entry before it")
    entries(page, "refused").get_by_role("button", name="Leave mine out").click()
    expect(entries(page, "sent")).to_have_count(1)


HOLD_THE_LOCK = """() => new Promise((isHeld) => {
    navigator.locks.request("viaduct-outbox", () => new Promise((letGo) => {
        window.letGo = letGo;
        isHeld();
    }));
})"""
KEEP_LATER_TRIES = """() => {
    const { setTimeout, clearTimeout } = window;
    window.later = new Map();
    let number = 1_000_000;
    window.setTimeout = (act, wait, ...more) => {
        if (wait < 2_000 || wait >= 20_000) return setTimeout(act, wait, ...more);
        window.later.set((number += 1), act);
        return number;
    };
    window.clearTimeout = (which) => window.later.delete(which) || clearTimeout(which);
}"""


def test_an_entry_that_found_another_tab_sending_is_tried_again_by_itself(served, watch):
    page = open_with_list(watch, served)
    page.evaluate(KEEP_LATER_TRIES)
    page.evaluate(HOLD_THE_LOCK)
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect_state(page, "1 entry kept on this phone")
    page.wait_for_function("() => window.later.size === 1")
    page.evaluate("window.letGo()")
    page.evaluate("[...window.later.values()].forEach((act) => act())")
    expect(entries(page, "sent")).to_have_count(1)


OPEN_AND_TICK = """([summary, button]) => {
    document.getElementById(summary).click();
    document.getElementById(button).click();
}"""


def test_panels_stay_open_that_are_drawn_anew_right_after_they_were_opened(shift_end, watch):
    page = open_with_list(watch, shift_end)
    choose_heading(page, "W_from_west")
    tapped = page.locator("#entry-likely > section > .proposal").first.get_attribute("id")
    page.evaluate(OPEN_AND_TICK, ["likely-later-summary", tapped])
    expect(page.locator("#likely-later")).to_have_attribute("open", "")
    page.evaluate(OPEN_AND_TICK, ["weather-summary", "another-add"])
    expect(page.locator("#weather")).to_have_attribute("open", "")


def test_what_a_person_opened_stays_open_until_they_close_it(served, watch):
    page = open_with_list(watch, served)
    panels = {id_: page.locator(f"#{id_}") for id_ in ("shift-panel", "weather", "another-row")}
    for panel in panels.values():
        panel.locator("summary").click()
    let_a_list_come(page)
    for panel in panels.values():
        expect(panel).to_have_attribute("open", "")
        panel.locator("summary").click()
    let_a_list_come(page)
    for panel in panels.values():
        expect(panel).not_to_have_attribute("open", "")


def test_other_work_that_was_chosen_stays_chosen_when_a_list_comes(served, watch):
    page = open_with_list(watch, served)
    choose_heading(page, "W_from_east")
    page.get_by_text("Other work on this heading").click()
    page.locator("#another-unit").select_option("W25")
    work = page.locator("#another-work")
    work.select_option("W25||deck_pour")
    page.locator("#another-row summary").focus()
    let_a_list_come(page)
    expect(work).to_have_value("W25||deck_pour")
    page.get_by_role("button", name="Show it").click()
    expect(row(page, "W25", "deck_pour")).to_be_visible()
    choose_heading(page, "W_from_west")
    expect(page.locator("#another-row")).not_to_have_attribute("open", "")


def test_a_shift_is_set_in_one_go_and_its_panel_closes_when_it_is_sent(served, watch):
    page = open_with_list(watch, served)
    panel = page.locator("#shift-panel")
    panel.locator("summary").click()
    page.get_by_label("Day", exact=True).fill("2026-11-23")
    expect(panel).to_contain_text("Of an earlier shift")
    page.get_by_label("Day", exact=True).fill("2026-11-24")
    expect(panel).not_to_contain_text("Of an earlier shift")
    page.get_by_label("to", exact=True).fill("15:00")
    expect(panel).to_have_attribute("open", "")
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    expect(panel).not_to_have_attribute("open", "")


def test_what_was_said_of_a_file_stays_until_another_is_chosen(served, watch):
    page = open_with_list(watch, served)
    work = tick(page, *UNDER_WAY, "Note")
    work.get_by_label("Photo or document").set_input_files(LARGE)
    said = work.get_by_text("more than 10 MB")
    expect(said).to_be_visible()
    let_a_list_come(page)
    expect(said).to_be_visible()
    small = {**LARGE, "buffer": LARGE["buffer"][:100]}
    work.get_by_label("Photo or document").set_input_files(small)
    expect(page.get_by_role("button", name=re.compile("^Remove the photo"))).to_have_count(1)
    expect(said).to_have_count(0)
