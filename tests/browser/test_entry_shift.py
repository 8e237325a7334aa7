"""Which shift entries count for: of a cure, a day wrong is a day of curing."""

from __future__ import annotations

import re

from playwright.sync_api import expect

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
    tick,
)

# The demo's day is Tuesday, 24 November 2026, about six in the evening.
UNDER_WAY = ("W_from_east", "W23", "bottom_slab_stems")
OTHER = ("W_from_east", "W22", "falsework")
TODAY, YESTERDAY, TOMORROW = "Tue 24 Nov", "Mon 23 Nov", "Wed 25 Nov"


def open_with_clock(watch, served):
    """Open the page on a phone whose clock can be put forward."""
    context = phone(watch)
    context.clock.install()
    return open_entry(watch, served.url, context=context)


def the_next_morning(page):
    """Put the phone away without signal, and take it out again in the morning."""
    page.context.set_offline(True)
    page.clock.fast_forward("16:00:00")
    page.reload()
    ready(page)


def review(page):
    page.get_by_role("button", name=re.compile("^Review")).click()
    return page.get_by_role("region", name="Review before sending")


def of_yesterday(page, *work):
    """Send that some work was finished yesterday."""
    page.get_by_label("Day").fill("2026-11-23")
    tick(page, *work)
    send(page)
    expect(entries(page, "sent")).to_have_count(1)


def test_what_was_filled_in_yesterday_and_is_sent_today_counts_for_yesterday(served, watch):
    page = open_with_clock(watch, served)
    tick(page, *UNDER_WAY, "Finished")
    the_next_morning(page)
    expect(page.locator("#shift-panel")).to_contain_text(f"counts for {TODAY}")
    expect(review(page)).to_contain_text(f"finished · {TODAY}")
    page.get_by_role("button", name="Send", exact=True).click()
    page.context.set_offline(False)
    expect(entries(page, "sent")).to_have_count(1)
    (finish,) = recorded(served, *UNDER_WAY[1:], by=WHO)
    assert f"{finish.at:%Y-%m-%d}" == "2026-11-24"


def test_with_nothing_filled_in_the_page_goes_on_with_the_new_day(served, watch):
    page = open_with_clock(watch, served)
    work = tick(page, *UNDER_WAY, "Finished")
    review(page)
    page.get_by_role("button", name="Back", exact=True).click()
    work.get_by_role("button", name=re.compile("Finished$")).click()
    the_next_morning(page)
    expect(page.locator("#shift-panel-summary")).to_contain_text(TOMORROW)
    tick(page, *UNDER_WAY, "Finished")
    expect(review(page)).to_contain_text(f"finished · {TOMORROW}")


def test_a_correction_of_an_earlier_shift_does_not_take_today_s_work_with_it(served, watch):
    page = open_entry(watch, served.url)
    of_yesterday(page, *UNDER_WAY, "Finished")
    tick(page, *OTHER, "Started")
    entries(page, "sent").get_by_role("button", name="Correct").click()
    expect(page.get_by_role("alert")).to_contain_text("Send or clear what is filled in first")
    expect(review(page)).to_contain_text(f"started · {TODAY}")
    page.get_by_role("button", name="Send", exact=True).click()
    expect(entries(page, "sent")).to_have_count(2)
    correct = entries(page, "sent").filter(has_text="Bottom slab").get_by_role("button")
    correct.click()
    expect(page.locator("#shift-panel")).to_contain_text(f"counts for {YESTERDAY}")


def test_a_correction_left_as_it_was_leaves_the_day_as_it_was(served, watch):
    page = open_entry(watch, served.url)
    of_yesterday(page, *UNDER_WAY, "Finished")
    entries(page, "sent").get_by_role("button", name="Correct").click()
    expect(page.locator("#shift-panel-summary")).to_contain_text(YESTERDAY)
    row(page, *UNDER_WAY[1:]).get_by_role("button", name="Leave it as it was").click()
    expect(page.locator("#shift-panel-summary")).to_contain_text(TODAY)
    tick(page, *OTHER, "Started")
    expect(review(page)).to_contain_text(f"started · {TODAY}")


def test_a_correction_of_today_goes_with_today_s_work_and_keeps_its_own_times(served, watch):
    page = open_entry(watch, served.url)
    page.get_by_label("to", exact=True).fill("15:00")
    tick(page, *UNDER_WAY, "Finished")
    send(page)
    expect_state(page, "in the log")
    tick(page, *OTHER, "Started", "Finished")
    entries(page, "sent").get_by_role("button", name="Correct").click()
    shown = review(page)
    expect(shown).to_contain_text(f"finished · {TODAY}, 15:00")
    expect(shown.locator("li", has_text="W22")).not_to_contain_text("15:00")
