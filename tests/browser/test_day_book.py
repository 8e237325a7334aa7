"""The day book on a phone: read without moving it sideways, and still heard as a table."""

from __future__ import annotations

from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, PHONE

TUESDAY = "/daybook?date=2026-11-24"


def open_book(watch, served, viewport):
    page = watch.open(served.url + TUESDAY, viewport)
    page.wait_for_selector(".day-book-table")
    return page


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
    table = page.get_by_role("table").first
    expect(table.get_by_role("columnheader", name="Activity")).to_have_count(1)
    row = table.get_by_role("row").nth(1)
    expect(row.get_by_role("cell")).to_have_count(6)


def test_a_wide_screen_shows_a_row_side_by_side(served, watch):
    page = open_book(watch, served, DESKTOP)
    row = page.locator(".day-book-table tbody tr").first
    tops = {cell.bounding_box()["y"] for cell in row.locator("td").all()}
    assert len(tops) == 1


def test_on_paper_it_is_a_table_however_narrow_the_phone_that_prints_it(served, watch):
    page = open_book(watch, served, PHONE)
    page.emulate_media(media="print")
    cell = page.locator(".day-book-table td").first
    assert cell.evaluate("one => getComputedStyle(one).display") == "table-cell"
