"""The day book on a phone: read without moving it sideways, and still heard as a table."""

from __future__ import annotations

import datetime as dt
import json

from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, PHONE

TUESDAY = "/daybook?date=2026-11-24"


def open_book(watch, served, viewport):
    page = watch.open(served.url + TUESDAY, viewport)
    page.wait_for_selector(".day-book-table")
    return page


BUSY = "/daybook?date=2026-10-08"


def test_what_the_shift_comes_to_is_read_on_a_phone_without_moving_it_sideways(served, watch):
    page = watch.open(served.url + BUSY, PHONE)
    table = page.get_by_role("table", name="Placed in this shift")
    table.wait_for()
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    told = served.project.day_book(dt.date(2026, 10, 8)).totals
    rows = table.locator("tr:not(.of-heading)").filter(has=page.locator("td"))
    expect(rows).to_have_count(len(told.by_heading) + len(told.added_up))
    pour = next(t for t in told.by_heading if t.activity.key == "deck_pour")
    row = rows.filter(has=page.get_by_role("rowheader", name="Deck pour")).first
    expect(row).to_contain_text(pour.placed_words)
    expect(row).to_contain_text(pour.to_date_words)
    for cell in row.locator("td").filter(visible=True).all():
        box, around = cell.bounding_box(), row.bounding_box()
        assert box["x"] >= around["x"]
        assert box["x"] + box["width"] <= around["x"] + around["width"]


def test_a_phone_shows_each_entry_as_a_card_that_fits(served, watch):
    page = open_book(watch, served, PHONE)
    for region in page.locator(".table-scroll").all():
        assert region.evaluate("one => one.scrollWidth <= one.clientWidth")
    where = page.locator("td[data-column=Where]").first
    said = where.evaluate("cell => getComputedStyle(cell, '::before').content")
    assert said == '"Where"'
    by = page.locator("td[data-column=By]").first
    assert by.bounding_box()["y"] > where.bounding_box()["y"]


def test_it_is_still_heard_as_a_table_with_its_columns(served, watch):
    page = open_book(watch, served, PHONE)
    table = page.locator(".day-book-table:not(.shift-totals)").first
    expect(table.get_by_role("columnheader", name="Activity")).to_have_count(1)
    row = table.get_by_role("row").nth(1)
    expect(row.get_by_role("cell")).to_have_count(6)


def test_a_wide_screen_shows_a_row_side_by_side(served, watch):
    page = open_book(watch, served, DESKTOP)
    row = page.locator(".day-book-table:not(.shift-totals) tbody tr").first
    tops = {cell.bounding_box()["y"] for cell in row.locator("td").all()}
    assert len(tops) == 1


def test_on_paper_it_is_a_table_however_narrow_the_phone_that_prints_it(served, watch):
    page = open_book(watch, served, PHONE)
    page.emulate_media(media="print")
    cell = page.locator(".day-book-table td").first
    assert cell.evaluate("one => getComputedStyle(one).display") == "table-cell"


def test_on_paper_every_sheet_can_say_what_it_is_of_and_each_heading_comes_again(served, watch):
    page = watch.open(served.url + BUSY)
    page.wait_for_selector(".day-book-table")
    page.emulate_media(media="print")
    page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
    name = page.evaluate(
        "getComputedStyle(document.documentElement).getPropertyValue('--sheet-name')"
    )
    assert served.project.job.name in name
    assert "shift of Thu 8 Oct 2026" in name
    assert page.title() == json.loads(name)
    assert page.evaluate("getComputedStyle(document.body).page") == "day-book"
    again = page.locator(".on-paper th", has_text="Heading E_from_west, shift of Thu 8 Oct 2026")
    expect(again).to_be_visible()
    assert again.evaluate("one => getComputedStyle(one.closest('thead')).display") == (
        "table-header-group"
    )
    for row in page.locator(".day-book-table tbody tr").all()[:40]:
        assert row.evaluate("one => getComputedStyle(one).breakInside") == "avoid"
    page.evaluate("window.dispatchEvent(new Event('afterprint'))")
    assert page.title() != json.loads(name)


def test_another_day_goes_into_the_address_so_that_a_reload_shows_the_same_shift(served, watch):
    page = open_book(watch, served, DESKTOP)
    page.get_by_label("Day the shift began").fill("2026-10-08")
    sheet = page.locator("#day-book")
    expect(sheet).to_contain_text("Shift of Thursday 8 October 2026")
    expect(page).to_have_url(served.url + BUSY)
    page.reload()
    expect(sheet).to_contain_text("Shift of Thursday 8 October 2026")
    expect(page.get_by_label("Day the shift began")).to_have_value("2026-10-08")


def test_the_shift_that_runs_now_keeps_its_short_address_until_a_day_is_chosen(served, watch):
    page = watch.open(served.url + "/")
    page.get_by_role("link", name="Day book").first.click()
    page.wait_for_selector(".day-book-table")
    day = page.get_by_label("Day the shift began")
    expect(day).to_have_value("2026-11-24")
    expect(page).to_have_url(served.url + "/daybook")
    day.fill("")
    expect(page.locator("#day-book")).to_contain_text("That is no day")
    expect(page).to_have_url(served.url + "/daybook")
    day.fill("2026-11-20")
    expect(page).to_have_url(served.url + "/daybook?date=2026-11-20")


def test_on_screen_no_row_is_there_for_paper_alone(served, watch):
    page = open_book(watch, served, DESKTOP)
    expect(page.locator(".on-paper").first).to_be_hidden()
    expect(page.get_by_role("table").nth(1).get_by_role("row").first).to_contain_text("Happened")
