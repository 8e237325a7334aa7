"""Whatever people type or name is shown as they typed it: no element, no link, nothing run."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import expect

from demo_project import copy_starter
from model.clock import clock_starting_at
from model.project import Project
from tests.browser.conftest import DESKTOP, PHONE, serving
from tests.browser.entry_steps import entries, open_entry, ready, send, take_in_list
from tests.model.builders import done
from tests.model.people import PASSWORD

BOLD = "<b class=odd>x</b>"
LINK = "<a class=odd href='https://odd.example'>go</a>"
PICTURE = "<img class=odd src=x onerror='window.taken=1'>"
ODD = BOLD + LINK + PICTURE + "<script>window.taken=1</script>"
UNIT, HEADING = "U1<i class=odd>u</i>", "north<i class=odd>h</i>"

FOUND = """() => ({
  taken: window.taken ?? null,
  made: document.querySelectorAll('.odd').length,
  links: [...document.querySelectorAll('a')].filter((link) =>
    ['href', 'xlink:href'].some((name) => (link.getAttribute(name) || '').includes('odd.example')
  )).length,
  bold: [...document.querySelectorAll('svg tspan')].filter(({ textContent }) => textContent === 'x')
    .length,
})"""  # fmt: skip
NOTHING = {"taken": None, "made": 0, "links": 0, "bold": 0}


def a_folder_full_of_markup(folder):
    """The starter project, with markup in every name and in keys."""
    copy_starter(folder)
    settings = (folder / "project.toml").read_text(encoding="utf-8")
    for name in ("Starter Viaduct", "Falsework", "Deck pour", "Viaduct"):
        settings = settings.replace(f'name = "{name}"', f'name = "{name} {ODD}"')
    settings = settings.replace('"north"', f'"{HEADING}"').replace('"U1"', f'"{UNIT}"')
    settings += f'\n[entry]\nhold_reasons = ["Rain", "{ODD}"]\n'
    (folder / "project.toml").write_text(settings, encoding="utf-8")
    units = (folder / "units.csv").read_text(encoding="utf-8")
    units = units.replace("U1,", f"{UNIT},").replace("north", HEADING)
    (folder / "units.csv").write_text(units, encoding="utf-8")
    return folder


@pytest.fixture
def odd(tmp_path):
    folder = a_folder_full_of_markup(tmp_path / "odd")
    at = dt.datetime(2026, 3, 20, 15, 30, tzinfo=ZoneInfo("America/Los_Angeles"))
    project = Project.open(folder, clock=clock_starting_at(at))
    project.record(done("falsework", UNIT, "2026-03-02 07:00", "2026-03-04 15:00"))
    project.record(done("falsework", "U2", "2026-03-05 07:00", "2026-03-09 15:00"))
    project.record(done("falsework", "U3", "2026-03-10 07:00", "2026-03-12 15:00"))
    with serving(project) as running:
        yield running


def shows(page, *texts):
    """Wait until a page shows texts as they were typed, in words or in a chart."""
    for text in texts:
        page.wait_for_function("text => document.body.textContent.includes(text)", arg=text)
    assert page.evaluate(FOUND) == NOTHING


def fill_every_text_field(page, within="body"):
    """Type markup into every field that takes text; returns how many there are."""
    fields = page.locator(f"{within} input[type=text], {within} input:not([type]), "
                          f"{within} textarea")  # fmt: skip
    count = 0
    for place in range(fields.count()):
        if fields.nth(place).is_visible() and fields.nth(place).is_editable():
            fields.nth(place).fill(ODD)
            count += 1
    return count


def test_names_and_keys_of_a_project_are_text_on_map_and_day_book(odd, watch):
    page = watch.open_map(odd.url)
    shows(page, f"Starter Viaduct {ODD}", f"Falsework {ODD}", HEADING)
    page.goto(f"{odd.url}/daybook?date=2026-03-02")
    page.wait_for_selector("#day-book .day-book-table:not(.shift-totals) td")
    shows(page, UNIT, f"Falsework {ODD}")


def test_the_charts_of_the_line_page_show_names_and_cases_as_text(odd, watch):
    page = watch.open(f"{odd.url}/line?activity=falsework", DESKTOP)
    page.wait_for_selector("#line-chart .annotation-text")
    page.wait_for_selector("#line-cycles .xtick text")
    shows(page, UNIT, f"Falsework {ODD}")
    for case in page.locator(".whatif-case > summary").all():
        case.evaluate("summary => (summary.parentElement.open = true)")
    assert fill_every_text_field(page, ".whatif-cases") == 8
    page.get_by_role("button", name="Compare").click()
    page.wait_for_selector("#whatif-answer .banner.error")
    shows(page, ODD)  # an order of units that are none, said in a sentence
    for order in page.locator(".whatif-cases input[id$=order]").all():
        order.fill("")
    page.get_by_role("button", name="Compare").click()
    page.wait_for_selector(".whatif-table")
    page.wait_for_selector("#whatif-answer .ytick text")
    shows(page, ODD)
    ticks = page.locator("#whatif-answer .ytick text").all_text_contents()
    assert ODD in ticks


def test_names_and_what_is_typed_are_text_on_the_page_of_the_next_pour(odd, watch):
    page = watch.open(f"{odd.url}/pour?activity=deck_pour&rate={ODD}", DESKTOP)
    page.wait_for_selector(".pour-cards")
    shows(page, UNIT, f"Deck pour {ODD}", f"Falsework {ODD}", HEADING)
    expect(page.locator("#pour-rate")).to_have_value(ODD)
    page.goto(f"{odd.url}/pour?unit={ODD}&activity={ODD}")
    page.wait_for_selector("#pour-whole .banner")
    shows(page, ODD)


def test_every_field_of_shift_entry_is_text_wherever_it_comes_back(odd, watch):
    page = open_entry(watch, odd.url, by=ODD)
    take_in_list(page)
    shows(page, f"Starter Viaduct {ODD}", HEADING)
    card = page.locator("fieldset.entry-row").first
    card.get_by_role("button", name="Hold", exact=True).click()
    card.get_by_role("button", name="Note", exact=True).click()
    assert fill_every_text_field(page, ".entry-row") >= 1
    card.get_by_role("button", name=ODD).first.click()  # a reason of the project
    shows(page, ODD)
    send(page)
    expect(entries(page, "sent")).to_have_count(1)
    shows(page, ODD)
    page.goto(f"{odd.url}/daybook?date=2026-03-20")
    page.wait_for_selector("#day-book .day-book-table:not(.shift-totals) td")
    shows(page, ODD)


def test_the_name_of_a_file_is_text(odd, watch):
    page = open_entry(watch, odd.url)
    card = page.locator("fieldset.entry-row").first
    card.get_by_role("button", name="Note", exact=True).click()
    name = f"{BOLD}.png".replace("/", "")
    card.locator("input[type=file]").set_input_files(
        {"name": name, "mimeType": "image/png", "buffer": b"\x89PNG\r\n\x1a\n" + bytes(20)}
    )
    shows(page, name)


def test_names_typed_at_the_door_and_labels_of_tokens_are_text(odd, watch):
    odd.project.membership.add("Ines Alder", "administrator", PASSWORD)
    page = watch.open(f"{odd.url}/sign-in", PHONE)
    page.fill("[name=name]", ODD)
    page.fill("[name=password]", PASSWORD)
    faults = len(watch.faults)
    page.click("button:has-text('Sign in')")
    expect(page.get_by_role("alert")).to_be_visible()
    del watch.faults[faults:]  # the console tells of the refusal, as it should
    assert page.evaluate(FOUND) == NOTHING
    page.fill("[name=name]", "Ines Alder")
    page.fill("[name=password]", PASSWORD)
    page.click("button:has-text('Sign in')")
    page.wait_for_url(f"{odd.url}/")
    for label in (LINK, PICTURE):
        page.goto(f"{odd.url}/account")
        page.fill("[name=label]", label)
        page.check("[name=scope][value=read]")
        page.click("button:has-text('Make a token')")
        page.wait_for_selector("code")
    page.goto(f"{odd.url}/account")
    shows(page, LINK, PICTURE)
    page.goto(f"{odd.url}/entry")
    ready(page)
    shows(page, f"Starter Viaduct {ODD}")
