"""Readable in the sun, larger, in colours of one's own, by keyboard, on a phone and on paper."""

from __future__ import annotations

import pytest

from tests.browser.conftest import CHROMIUM, FLAGS, PHONE, WAIT_MS

CONTRAST = """
(node) => {
    const look = getComputedStyle(node);
    const [ink, ground] = [look.color, look.backgroundColor].map((colour) => {
        const [r, g, b] = colour.match(/[\\d.]+/g).slice(0, 3).map((level) => level / 255)
            .map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4));
        return 0.2126 * r + 0.7152 * g + 0.0722 * b + 0.05;
    });
    return Math.max(ink, ground) / Math.min(ink, ground);
}
"""
"""Contrast of an element's text by the relative luminance of WCAG 2.2."""

AAA = 7.0
"""WCAG 2.2, 1.4.6; for a screen in the sun."""

PAST_THE_EDGE = """
(these) => [...document.querySelectorAll(these)]
    .filter((node) => node.checkVisibility())
    .filter((node) => node.scrollWidth > node.clientWidth + 1 && node.clientWidth
        || node.getBoundingClientRect().right > innerWidth + 1)
    .map((node) => node.outerHTML.slice(0, 120))
"""

SPANS_IN_SIGHT = """
() => {
    const { spans, screen } = window.pourmap.map.scene;
    return [...spans.middleX.keys()].filter((i) => {
        const [x, y] = window.pourmap.toScreen(screen, spans.middleX[i], spans.middleY[i]);
        return x > 0 && y > 0 && x < screen.width && y < screen.height;
    }).map((i) => spans.units[spans.unitOf[i]]);
}
"""


@pytest.fixture
def large_text(browser):
    """A browser whose owner has set text half as large again; 16 px is what it comes with."""
    large = [*FLAGS, "--blink-settings=defaultFontSize=24"]
    chromium = browser.browser_type.launch(executable_path=CHROMIUM, args=large)
    yield chromium
    chromium.close()


@pytest.mark.parametrize("value", ["rebar", "curing"])
def test_what_was_just_chosen_is_as_readable_as_the_rest(served, watch, value):
    page = watch.open_map(served.url)
    page.locator(f"#activity input[value={value}]").click()
    chosen = page.locator("#activity label:has(input:checked)")
    assert chosen.inner_text().strip().lower() == value
    assert chosen.evaluate(CONTRAST) >= AAA


def test_the_map_is_one_stop_of_the_tab_key(served, watch):
    page = watch.open_map(served.url)
    page.focus("#map-view")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.id") == "map-zoom-in"


def test_the_day_slider_shows_the_focus_by_the_ring_of_all_else(served, watch):
    page = watch.open_map(served.url)
    page.focus("#outlines input")
    page.keyboard.press("Shift+Tab")
    assert page.evaluate("document.activeElement.id") == "day"
    ring = page.locator(".day-slider .dash-input-container").evaluate(
        "(node) => [getComputedStyle(node).outlineStyle, getComputedStyle(node).outlineWidth]"
    )
    assert ring == ["solid", "3px"]


def test_stations_along_the_strip_of_a_phone_are_more_than_one(served, watch):
    page = watch.open_map(served.url, PHONE)
    marks = page.evaluate(
        """() => {
            const { frame, reach } = window.pourmap.strip.scene;
            const step = window.pourmap.stationStep(frame.perStation, 45);
            return { step, many: Math.floor(reach[1] / step) - Math.ceil(reach[0] / step) + 1,
                apart: step * frame.perStation };
        }"""
    )
    assert marks["many"] >= 3
    assert marks["apart"] > 45, "labels would touch"


def test_the_page_one_is_on_stays_marked_in_colours_of_ones_own(served, watch):
    page = watch.open_map(served.url, forced_colors="active")
    lines = page.locator(".page-nav a").evaluate_all(
        "(links) => links.map((link) => [link.className, getComputedStyle(link).borderBottomColor])"
    )
    here = {colour for name, colour in lines if name == "here"}
    others = {colour for name, colour in lines if name != "here"}
    assert len(here) == 1
    assert here.isdisjoint(others)


def test_on_a_phone_placed_against_plan_is_read_without_moving_sideways(served, watch):
    page = watch.open_map(served.url, PHONE)
    assert page.evaluate(PAST_THE_EDGE, ".number-card *, .table-scroll") == []


def test_larger_text_makes_pages_larger_and_runs_over_no_edge(served, large_text):
    page = large_text.new_page(viewport=PHONE)
    page.set_default_timeout(WAIT_MS)
    drawn = {
        "/": "#finish-card:has-text('80 % sure by')",
        "/plan": "#plan-calendar-save",
        "/pour": ".pour-cards",
        "/line": "#line-chart .js-plotly-plot .bars path",
    }
    for path, selector in drawn.items():
        page.goto(served.url + path)
        page.wait_for_selector(selector)
        size = page.evaluate("parseFloat(getComputedStyle(document.body).fontSize)")
        assert size == pytest.approx(24 * 1.0625), path
        assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0, path
        past = page.evaluate(PAST_THE_EDGE, ".bottom-bar > *, .number-card *")
        assert past == [], path


def test_on_a_tablet_held_upright_every_column_of_who_lags_is_in_sight(served, watch):
    page = watch.open(f"{served.url}/line", {"width": 820, "height": 1180})
    page.wait_for_selector(".lag-table tbody tr")
    tables = page.locator(".table-scroll:has(.lag-table):visible")
    assert tables.count() >= 1
    wider = tables.evaluate_all("(boxes) => boxes.map((box) => box.scrollWidth - box.clientWidth)")
    assert max(wider) <= 0


def test_a_printed_map_says_of_which_day_it_is(served, watch):
    page = watch.open_map(f"{served.url}/?as-of=2026-09-05")
    page.emulate_media(media="print")
    assert page.get_by_text("As of Sat 5 Sep 2026", exact=True).is_visible()
    assert not page.locator("#day").is_visible()
    assert not page.locator("#activity").is_visible()


@pytest.mark.parametrize(("address", "unit"), [("/", None), ("/?unit=W03", "W03")])
def test_zooming_in_by_button_never_loses_the_viaduct(served, watch, address, unit):
    page = watch.open_still_map(served.url + address)
    whole = page.evaluate(SPANS_IN_SIGHT)
    for _ in range(5):
        page.click("#map-zoom-in")
    near = page.evaluate(SPANS_IN_SIGHT)
    assert 0 < len(near) < len(whole) / 4
    assert unit is None or unit in near
    for _ in range(5):
        page.click("#map-zoom-out")
    assert len(page.evaluate(SPANS_IN_SIGHT)) == len(whole)
