"""The next pour: chosen, changed, sent by its address, read on a phone and printed."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import DESKTOP, PHONE

DECK = "/pour?unit=W25&activity=deck_pour"
READINGS = {"concrete-temp": "84", "air-temp": "80", "humidity": "20", "wind": "14"}


def open_pour(watch, served, address=DECK, viewport=DESKTOP, **more):
    page = watch.open(served.url + address, viewport, **more)
    page.wait_for_selector("#pour-whole > *")
    page.wait_for_load_state("networkidle")
    return page


def card(page, label):
    return page.locator(".pour-cards .number-card").filter(
        has=page.locator(".label", has_text=label)
    )


def fill(page, field, text):
    page.fill(f"#pour-{field}", text)
    page.press(f"#pour-{field}", "Enter")


def test_by_itself_it_opens_on_the_pour_that_is_nearest(served, watch):
    page = open_pour(watch, served, "/pour")
    first = served.project.pours_ahead()[0]
    title = f"{first.activity.name} of {first.unit}"
    expect(page.get_by_role("heading", name=title)).to_be_visible()
    expect(page.locator(".pour-link.chosen")).to_contain_text(first.unit)


def test_a_rate_that_is_typed_changes_the_hours_and_stands_in_the_address(served, watch):
    page = open_pour(watch, served)
    hours = card(page, "Time it takes")
    before = hours.inner_text()
    fill(page, "rate", "40")
    expect(hours).to_contain_text("at 40 yd³/h, as given")
    expect(page).to_have_url(f"{served.url}{DECK}&rate=40")
    told = hours.inner_text()
    assert told != before
    page.reload()
    expect(hours).to_contain_text("at 40 yd³/h, as given")
    assert hours.inner_text() == told
    expect(page.locator("#pour-rate")).to_have_value("40")


def test_a_field_that_is_emptied_goes_by_what_is_usual_again(served, watch):
    page = open_pour(watch, served, f"{DECK}&round_trip=90")
    trucks = card(page, "Trucks")
    expect(trucks).to_contain_text("90 min")
    fill(page, "round-trip", "")
    expect(trucks).to_contain_text("45 min")
    expect(page).to_have_url(served.url + DECK)


def test_a_wrong_value_is_told_beside_its_field_and_changes_nothing_else(served, watch):
    page = open_pour(watch, served, f"{DECK}&rate=40")
    shown = page.locator("#pour-answer").inner_text()
    fill(page, "load", "nine")
    told = page.locator("#pour-load-told")
    expect(told).to_have_text("That is no number; write it like 62.5.")
    expect(page.locator("#pour-load")).to_have_attribute("aria-invalid", "true")
    assert page.locator("#pour-answer").inner_text() == shown
    expect(page).to_have_url(f"{served.url}{DECK}&rate=40")
    fill(page, "load", "7.5")
    expect(card(page, "Loads of 7.5 yd³")).to_be_visible()
    expect(told).to_be_hidden()
    expect(page.locator("#pour-load")).to_have_attribute("aria-invalid", "false")
    expect(page).to_have_url(f"{served.url}{DECK}&rate=40&load=7.5")


def test_four_readings_say_how_fast_it_dries_in_words_and_a_mark(served, watch):
    page = open_pour(watch, served)
    for field, reading in READINGS.items():
        assert not card(page, "Drying").count()
        fill(page, field, reading)
    drying = card(page, "Drying")
    expect(drying).to_contain_text("Act")
    expect(drying.locator("img")).to_be_visible()
    expect(page.locator(".pour-drying")).to_contain_text("Wind breaks on the windward side.")
    expect(page).to_have_url(f"{served.url}{DECK}&concrete_temp=84&air_temp=80&humidity=20&wind=14")


def test_with_some_readings_it_says_which_are_still_missing(served, watch):
    page = open_pour(watch, served)
    fill(page, "wind", "9")
    told = page.locator("#pour-weather-told")
    expect(told).to_contain_text("Still missing: concrete, air, humidity.")
    expect(page.locator(".field-error:visible")).to_have_count(0)
    fill(page, "wind", "900")
    expect(page.locator("#pour-wind-told")).to_contain_text("It is 900; expected 0 to")


def test_another_pour_is_one_tap_away_and_the_browser_goes_back(served, watch):
    page = open_pour(watch, served, f"{DECK}&rate=40")
    link = page.locator(".pour-link", has_text="W22").or_(
        page.locator(".pour-link", has_text="W07")
    )
    link.first.click()
    expect(page.locator(".pour-head h2")).not_to_contain_text("W25")
    expect(page.locator("#pour-rate")).not_to_have_value("40")
    page.go_back()
    expect(page.locator(".pour-head h2")).to_have_text("Deck pour of W25")
    expect(page.locator("#pour-rate")).to_have_value("40")
    expect(card(page, "Time it takes")).to_contain_text("at 40 yd³/h, as given")


def test_any_unit_is_reached_and_planned_by_keyboard_alone(served, watch):
    page = open_pour(watch, served)
    page.focus(".pour-choice summary")
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    page.keyboard.type("E18")
    page.keyboard.press("Enter")  # the first button: the activity that is shown
    expect(page.locator(".pour-head h2")).to_have_text("Deck pour of E18")
    expect(page).to_have_url(f"{served.url}/pour?unit=E18&activity=deck_pour")
    page.focus("#pour-start")
    for _ in range(10):  # the parts of the day and the time are stops too
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.id") == "pour-volume":
            break
    page.keyboard.press("Control+a")
    page.keyboard.type("100")
    page.keyboard.press("Tab")
    expect(card(page, "Concrete to order")).to_contain_text("100 yd³ to place")


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("/pour?unit=E07&activity=deck_pour", "Deck pour of E07 was finished on"),
        ("/pour?unit=E99&activity=deck_pour", "'E99' is no unit of this job."),
        ("/pour?unit=W25&activity=rebar", "Rebar places no concrete."),
        ("/pour?unit=W25&activity=dekc", "'dekc' is no activity of this job."),
    ],
)
def test_an_address_that_cannot_be_followed_says_why_and_offers_others(
    served, watch, address, said
):
    page = open_pour(watch, served, address)
    expect(page.locator(".banner")).to_contain_text(said)
    expect(page.locator(".pour-link").first).to_be_visible()


def test_what_is_recorded_meanwhile_shows_without_loading_the_page_again(served, watch):
    page = open_pour(watch, served, "/pour?unit=W25&activity=deck_pour&rate=40")
    chip = page.locator(".pour-head .status-chip")
    expect(chip).to_have_text("Not started")
    now = served.project.now()
    item = {"event_id": "pour-begins", "at": f"{now:%Y-%m-%dT%H:%M}", "unit": "W25",
            "activity": "deck_pour", "kind": "start", "by": "R. Alder"}  # fmt: skip
    answer = page.request.post(served.url + "/api/events", data={"events": [item]})
    assert answer.status == 200, answer.text()
    expect(chip).to_have_text("Under way")
    expect(card(page, "Time it takes")).to_contain_text("at 40 yd³/h")


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desk", "phone"])
def test_nothing_runs_over_the_edge_and_every_target_is_large_enough(served, watch, size):
    weather = "&concrete_temp=84&air_temp=80&humidity=20&wind=14&load=-1"
    page = open_pour(watch, served, DECK + weather, size)
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    wide = page.evaluate(
        """() => [...document.querySelectorAll(".number-card *, .table-scroll, .pour-form *")]
            .filter((node) => node.checkVisibility() && node.scrollWidth > node.clientWidth + 1
                && node.clientWidth && getComputedStyle(node).display !== "inline")
            .map((node) => node.outerHTML.slice(0, 120))"""
    )
    assert wide == []
    small = page.evaluate(
        """() => [...document.querySelectorAll("main button, main input, main summary, main a")]
            .filter((node) => node.checkVisibility())
            .filter((node) => node.getBoundingClientRect().height < 44)
            .map((node) => node.outerHTML.slice(0, 120))"""
    )
    assert small == []
    texts = page.evaluate(
        """() => Math.min(...[...document.querySelectorAll("main *")]
            .filter((node) => node.checkVisibility() && node.innerText)
            .map((node) => parseFloat(getComputedStyle(node).fontSize)))"""
    )
    assert texts >= 16


def test_on_a_phone_the_pour_that_is_shown_is_in_sight_among_the_choices(served, watch):
    last = served.project.pours_ahead()[7]
    address = f"/pour?unit={last.unit}&activity={last.activity.key}"
    page = open_pour(watch, served, address, PHONE)
    chosen = page.locator(".pour-link.chosen")
    expect(chosen).to_be_in_viewport(ratio=0.9)


def test_on_paper_there_is_one_sheet_without_form_and_choices(served, watch):
    weather = "&concrete_temp=84&air_temp=80&humidity=20&wind=14"
    page = open_pour(watch, served, "/pour?unit=W07&activity=deck_pour" + weather)
    page.emulate_media(media="print")
    for hidden in (".pour-choice", ".pour-asked", ".bottom-bar", ".page-nav"):
        expect(page.locator(hidden).first).to_be_hidden()
    for shown in (".pour-cautions", ".pour-before", ".pour-drying", ".pour-recent"):
        expect(page.locator(shown)).to_be_visible()
    expect(page.locator(".pour-drying")).to_contain_text(
        "With concrete 84 °F, air 80 °F, humidity 20 %, wind 14 mph."
    )
    sheet = page.pdf(format="Letter")
    assert sheet.count(b"/Type /Page\n") == 1
