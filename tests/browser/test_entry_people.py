"""Shift entry among people: two phones, corrections, the keyboard, what others wrote."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect

from model.events import Event
from tests.browser.entry_steps import (
    WHO,
    choose_heading,
    entries,
    expect_state,
    let_it_try_only_when_told,
    open_entry,
    ready,
    recorded,
    row,
    send,
    take_in_list,
    tick,
)

UNDER_WAY = ("W_from_east", "W23", "bottom_slab_stems")
NEXT_FALSEWORK = ("W_from_east", "W22", "falsework")
SCRIPT = '<img src=x onerror="window.wasRun=1"><script>window.wasRun=1</script>'


def kinds(served, work, by=None):
    return [event.kind for event in recorded(served, *work[1:], by=by)]


def hold(page, work, reason="Waiting for survey"):
    tick(page, *work, "Hold").get_by_role("button", name=reason).click()


@pytest.fixture
def two_phones(served, watch):
    """Both have the list of units; then the first one records a hold."""
    first = open_entry(watch, served.url, by="Ada Thorn")
    second = open_entry(watch, served.url, by="Bo Lindqvar")
    tick(second, *UNDER_WAY, "Finished")
    hold(first, UNDER_WAY)
    send(first)
    expect(entries(first, "sent")).to_have_count(1)
    return first, second


def test_two_phones_on_one_unit_show_both_and_record_nothing_of_the_later(served, two_phones):
    _, second = two_phones
    send(second)
    clash = entries(second, "clash")
    expect(clash).to_contain_text("Others recorded on this unit meanwhile")
    expect(clash).to_contain_text("put on hold (Waiting for survey)")
    expect(clash).to_contain_text("by Ada Thorn")
    expect(clash).to_contain_text("finished")
    assert kinds(served, UNDER_WAY, by="Bo Lindqvar") == []


def test_the_later_phone_may_send_its_own_as_well(served, two_phones):
    _, second = two_phones
    send(second)
    entries(second, "clash").get_by_role("button", name="Send mine as well").click()
    expect(entries(second, "sent")).to_contain_text("Look again")
    assert kinds(served, UNDER_WAY)[-2:] == ["hold", "finish"]


def test_the_later_phone_may_leave_its_own_out(served, two_phones):
    _, second = two_phones
    send(second)
    entries(second, "clash").get_by_role("button", name="Leave mine out").click()
    expect(second.locator(".outbox-item")).to_have_count(0)
    assert kinds(served, UNDER_WAY)[-1] == "hold"


def test_should_yet_another_record_the_later_phone_is_asked_again(served, two_phones):
    _, second = two_phones
    send(second)
    expect(entries(second, "clash")).to_have_count(1)
    now = served.project.now()
    served.project.record([Event(now, "Cai Oram", *UNDER_WAY[1:], "note", note="pump blocked")])
    entries(second, "clash").get_by_role("button", name="Send mine as well").click()
    expect(entries(second, "clash")).to_contain_text("pump blocked")
    assert kinds(served, UNDER_WAY, by="Bo Lindqvar") == []


def test_what_others_told_of_other_work_of_the_unit_is_shown_too(served, watch):
    page = open_entry(watch, served.url)
    tick(page, *UNDER_WAY, "Finished")
    now, unit = served.project.now(), UNDER_WAY[1]
    served.project.record([
        Event(now, "Cai Oram", unit, "", "note", note="survey at noon"),
        Event(now, "Cai Oram", unit, "falsework", "note", note="settlement read: 4 mm"),
    ])  # fmt: skip
    send(page)
    expect(entries(page, "clash")).to_contain_text("survey at noon")
    expect(entries(page, "clash")).to_contain_text("settlement read: 4 mm")
    assert kinds(served, UNDER_WAY, by=WHO) == []


def test_what_was_sent_is_corrected_by_new_events(served, watch):
    page = open_entry(watch, served.url)
    tick(page, *UNDER_WAY, "Placed").get_by_role("textbox", name="This load").fill("81")
    send(page)
    entries(page, "sent").get_by_role("button", name="Correct").click()
    row(page, *UNDER_WAY[1:]).get_by_role("textbox", name="This load").fill("18")
    send(page)
    expect(entries(page, "sent")).to_have_count(2)
    expect(page.get_by_text("In the log, corrected since")).to_have_count(1)
    wrong, right = recorded(served, *UNDER_WAY[1:], by=WHO)
    assert (str(wrong.quantity), str(right.quantity)) == ("81", "18")
    voided = {h.event.event_id for h in served.project.history(UNDER_WAY[1]) if h.voided_by}
    assert wrong.event_id in voided
    assert right.event_id not in voided


def test_a_correction_counts_once_and_what_is_odd_is_marked_before_it_is_sent(served, watch):
    page = open_entry(watch, served.url)
    work = tick(page, *UNDER_WAY, "Placed")
    work.get_by_role("textbox", name="This load").fill("30")
    expect(work).to_contain_text("30 yd³; then 30 of 604.4 yd³ planned")
    send(page)
    entries(page, "sent").get_by_role("button", name="Correct").click()
    expect(work).to_contain_text("30 yd³; then 30 of 604.4 yd³ planned")
    work.get_by_role("textbox", name="This load").fill("900")
    for kind in ("Started", "Finished"):
        row(page, "W22", "falsework").get_by_role("button", name=kind).click()
    page.get_by_role("button", name="Review 2 entries").click()
    review = page.get_by_role("region", name="Review before sending")
    expect(review).to_contain_text("2 entries by")
    expect(review).to_contain_text("cancelled “placed 30 yd³ · Tue 24 Nov")
    expect(review.locator(".odd")).to_have_text(
        [re.compile("^49 % over plan in all, 900 of 604.4 yd³"), re.compile("not reported")]
    )
    page.get_by_role("button", name="Send", exact=True).click()
    expect_state(page, "2 entries are in the log")
    assert [str(e.quantity) for e in recorded(served, *UNDER_WAY[1:], by=WHO)] == ["30", "900"]


def test_amounts_kept_without_signal_are_added_to_the_list(served, watch):
    page = open_entry(watch, served.url)
    page.context.set_offline(True)
    tick(page, *UNDER_WAY, "Placed").get_by_role("textbox", name="This load").fill("30")
    send(page)
    work = row(page, *UNDER_WAY[1:])
    expect(work).to_contain_text("30 of 604.4 yd³")
    page.context.set_offline(False)
    expect(entries(page, "sent")).to_have_count(1)
    expect(work.get_by_text("with what is kept here")).to_have_count(0)
    expect(work).to_contain_text("30 of 604.4 yd³")


def test_what_should_not_have_been_sent_is_taken_out(served, watch):
    page = open_entry(watch, served.url)
    tick(page, *NEXT_FALSEWORK, "Started")
    send(page)
    entries(page, "sent").get_by_role("button", name="Correct").click()
    row(page, *NEXT_FALSEWORK[1:]).get_by_role("button", name="Started").click()
    send(page)
    expect(entries(page, "sent")).to_have_count(2)
    state = served.project.status(activity="falsework").units.set_index("unit")
    assert state.loc[NEXT_FALSEWORK[1], "status"] == "not_started"


def test_a_shift_lost_to_rain_holds_all_work_that_rain_stops(served, watch):
    page = open_entry(watch, served.url)
    take_in_list(page)
    choose_heading(page, "W_from_east")
    page.get_by_text("Weather lost").click()
    expect(page.get_by_label("W26 Curing")).to_have_count(0)  # curing goes on in the rain
    page.get_by_role("button", name="Rain").click()
    page.get_by_role("button", name="Fill these in as held").click()
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    (event,) = recorded(served, *UNDER_WAY[1:], by=WHO)
    assert (event.kind, event.reason, f"{event.at:%H:%M}") == ("hold", "Rain", "07:00")


def test_everything_wrong_is_said_at_once(served, watch):
    page = open_entry(watch, served.url, by="")
    work = tick(page, *UNDER_WAY, "Placed", "Hold")
    work.get_by_role("textbox", name="This load").fill("60,5")
    page.get_by_role("button", name=re.compile("^Review")).click()
    said = page.get_by_role("alert")
    for words in ("Nobody is named", "no number above 0", "hold has no reason"):
        expect(said).to_contain_text(words)
    expect(said).to_be_focused()


def test_a_usual_shift_of_one_unit_takes_three_taps(served, watch):
    page = open_entry(watch, served.url)
    take_in_list(page)  # a tap is tried again where a button is drawn anew, and counts twice
    choose_heading(page, "W_from_east")
    page.evaluate("window.taps = 0; addEventListener('click', () => window.taps++, true)")
    row(page, *UNDER_WAY[1:]).get_by_role("button", name="Finished").click()
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    assert page.evaluate("window.taps") == 3


def test_a_whole_entry_is_made_by_keyboard(served, watch):
    page = open_entry(watch, served.url, by="")

    def tab_to(wanted):
        for _ in range(120):
            page.keyboard.press("Tab")
            if page.evaluate("(id) => document.activeElement.id === id", wanted):
                return
        raise AssertionError(f"the keyboard does not reach {wanted}")

    key = "W23||bottom_slab_stems"
    page.keyboard.press("Tab")
    tab_to("shift-by")
    page.keyboard.type("Ines Quarrow")
    tab_to("heading-3")
    page.wait_for_selector("#shift-panel:not([open])")  # the list for the name is taken in
    page.keyboard.press("Enter")
    tab_to(f"did-place-{key}")
    page.keyboard.press("Space")
    tab_to(f"amount-{key}")
    for load in ("9.5", "10", "8"):
        page.keyboard.type(load)
        page.keyboard.press("Enter")
    tab_to("review-open")
    page.keyboard.press("Enter")
    tab_to("send")
    page.keyboard.press("Enter")
    expect(entries(page, "sent")).to_have_count(1)
    (event,) = recorded(served, *UNDER_WAY[1:], by=WHO)
    assert (str(event.quantity), event.note) == ("27.5", "3 loads: 9.5, 10, 8")


def test_script_written_by_people_is_shown_as_text(served, watch):
    now = served.project.now()
    served.project.record(
        [Event(now, SCRIPT, *UNDER_WAY[1:], "hold", reason=SCRIPT)], source="test"
    )
    page = open_entry(watch, served.url, by=SCRIPT)
    work = tick(page, *UNDER_WAY, "Resumed", "Note")
    expect(work).to_contain_text(SCRIPT)  # the reason of the hold
    work.get_by_role("textbox", name="Note").fill(SCRIPT)
    served.project.record([Event(now, "Ada", *UNDER_WAY[1:], "note", note=SCRIPT)])
    page.get_by_role("button", name=re.compile("^Review")).click()
    expect(page.get_by_role("region", name="Review before sending")).to_contain_text(SCRIPT)
    page.get_by_role("button", name="Send", exact=True).click()
    expect(entries(page, "clash")).to_contain_text(SCRIPT)
    assert page.evaluate("window.wasRun") is None


def test_an_entry_made_here_shows_on_the_map_in_another_browser(served, watch):
    on_map = watch.open_map(f"{served.url}/?activity=falsework")
    page = open_entry(watch, served.url)
    tick(page, *NEXT_FALSEWORK, "Started")
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    on_map.wait_for_function(
        """() => {
            const { spans } = window.pourmap.state;
            const i = spans.spansOfUnit[spans.units.indexOf("W22")][0];
            return window.pourmap.statusesOf(0)[i] === 1;
        }"""
    )


def test_a_second_tab_does_not_lose_what_the_first_filled_in(served, watch):
    first = open_entry(watch, served.url)
    tick(first, *UNDER_WAY, "Finished")
    second = first.context.new_page()
    second.goto(f"{served.url}/entry")
    ready(second)
    send(second)
    expect(entries(second, "sent")).to_have_count(1)
    expect(entries(first, "sent")).to_have_count(1)
    expect(first.get_by_role("button", name=re.compile("^Review"))).to_be_hidden()
    assert kinds(served, UNDER_WAY, by=WHO) == ["finish"]


def test_a_server_in_trouble_is_said_and_tried_again(served, watch):
    page = open_entry(watch, served.url)
    take_in_list(page)  # that it comes says that the server answers again
    let_it_try_only_when_told(page)
    page.route("**/api/events", lambda route: route.fulfill(status=503, body=""), times=1)
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect_state(page, "The server has trouble: 1 entry kept on this phone")
    watch.faults.clear()  # the browser's own line about the 503
    page.get_by_role("button", name="Try now").click()
    expect(entries(page, "sent")).to_have_count(1)


def test_trouble_with_one_entry_does_not_keep_the_others_waiting(served, watch):
    page = open_entry(watch, served.url)
    first, second = UNDER_WAY, ("W_from_east", "W25", "deck_pour")

    def fail_for_the_first(route):
        if first[1] in route.request.post_data:
            route.fulfill(status=500, body="")
        else:
            route.continue_()

    page.route("**/api/events", fail_for_the_first)
    for work in (first, second):
        tick(page, *work, "Note").get_by_role("textbox", name="Note").fill("as agreed")
    send(page)
    expect(entries(page, "sent")).to_contain_text(second[1])
    expect(entries(page, "queued")).to_contain_text(first[1])
    watch.faults.clear()  # the browser's own lines about the 500
    page.unroute("**/api/events")
    page.evaluate("window.dispatchEvent(new Event('online'))")
    expect(entries(page, "sent")).to_have_count(2)


def test_what_was_sent_from_another_phone_is_corrected_from_a_new_one(served, watch):
    first = open_entry(watch, served.url)
    work = tick(first, *UNDER_WAY, "Placed", "Note")
    for load in ("9.50", "81"):
        work.get_by_role("textbox", name="This load").fill(load)
        work.get_by_role("button", name="Add this load").click()
    work.get_by_role("textbox", name="Note").fill("pump moved")
    send(first)
    expect(entries(first, "sent")).to_have_count(1)
    expect(entries(first, "told")).to_have_count(0)  # it stands there already

    fresh = open_entry(watch, served.url)
    fresh.get_by_label("Your name").blur()
    expect(entries(fresh, "told")).to_contain_text("90.50")
    entries(fresh, "told").get_by_role("button", name="Correct").click()
    work = row(fresh, *UNDER_WAY[1:])
    expect(work.get_by_text("Correcting what was sent.")).to_be_visible()
    expect(work.get_by_role("textbox", name="Note")).to_have_value("pump moved")
    work.get_by_role("button", name="Remove this load, number 2").click()
    work.get_by_role("textbox", name="This load").fill("18")
    send(fresh)
    expect(entries(fresh, "sent")).to_have_count(1)
    expect(entries(fresh, "told")).to_have_count(0)
    wrong, right = recorded(served, *UNDER_WAY[1:], by=WHO)
    assert (str(right.quantity), right.note) == ("27.50", "2 loads: 9.50, 18. pump moved")
    voided = {h.event.event_id for h in served.project.history(UNDER_WAY[1]) if h.voided_by}
    assert wrong.event_id in voided
    assert right.event_id not in voided


def test_what_somebody_else_recorded_is_not_offered_for_correction(served, watch):
    first = open_entry(watch, served.url, by="Ada Thorn")
    tick(first, *UNDER_WAY, "Finished")
    send(first)
    expect(entries(first, "sent")).to_have_count(1)
    other = open_entry(watch, served.url, by="Bo Lindqvar")
    take_in_list(other)
    expect(entries(other, "told")).to_have_count(0)


def test_a_button_pressed_while_a_new_list_waits_gets_the_click(served, watch):
    page = open_entry(watch, served.url, by="")
    page.get_by_label("Your name").fill(WHO)
    with page.expect_response("**/api/entry-sheet*"):
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    with page.expect_response("**/api/entry-sheet*"):  # by now the first has been taken in
        page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    heading = page.get_by_role("group", name="Heading").get_by_role("button", name="W_from_east")
    heading.hover()
    page.mouse.down()
    page.evaluate("new Promise((done) => setTimeout(() => setTimeout(done, 0), 0))")
    page.mouse.up()
    expect(heading).to_have_attribute("aria-pressed", "true")
