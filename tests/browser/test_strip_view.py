"""Strip and map move as one, by pointer, by thumb and by keys, also when the map is bare."""

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import PHONE

CELL = """
([unit, k, activity]) => {
    const { state, strip } = window.pourmap;
    const { spans, changes } = state;
    const i = spans.spansOfUnit[spans.unitIndex.get(unit)][k];
    const a = changes.activities.findIndex((one) => one.key === activity);
    const row = strip.scene.frame.rows.find(
        (r) => r.structure === spans.structureOf[i] && r.activity === a);
    const canvas = document.querySelector('.strip-paint');
    canvas.scrollIntoView({ block: 'center' });
    const box = canvas.getBoundingClientRect();
    const [x1, x2] = strip.scene.ends(i);
    return [box.left + (x1 + x2) / 2, box.top + row.y + row.height / 2];
}
"""

CHOSEN = """
() => {
    const { spans, span, activityKey } = window.pourmap.state;
    return span < 0 ? null : [spans.units[spans.unitOf[span]], spans.name[span], activityKey];
}
"""


def test_a_click_on_a_cell_chooses_span_and_activity_and_opens_the_history(served, watch):
    page = watch.open_still_map(served.url)
    page.mouse.click(*page.evaluate(CELL, ["W07", 1, "rebar"]))
    page.wait_for_selector("#history .history li")
    assert page.evaluate(CHOSEN) == ["W07", "2", "rebar"]
    expect(page.locator("#activity input[value=rebar]")).to_be_checked()
    assert "W07" in page.inner_text("#history-title")


def test_a_tap_on_a_phone_chooses_the_cell_under_the_thumb(served, watch):
    page = watch.open_still_map(served.url, PHONE, has_touch=True)
    page.touchscreen.tap(*page.evaluate(CELL, ["E05", 0, "curing"]))
    page.wait_for_selector("#history .history li")
    assert page.evaluate(CHOSEN)[0] == "E05"


def test_keys_walk_from_span_to_span_and_between_activities(served, watch):
    page = watch.open_map(f"{served.url}/?unit=E05&span=1&activity=rebar")
    page.focus("#strip-view")
    page.keyboard.press("ArrowRight")
    assert page.evaluate(CHOSEN) == ["E05", "2", "rebar"]
    said = page.inner_text("#selection-words")
    assert "Unit E05, span 2" in said
    assert "Rebar:" in said
    page.keyboard.press("ArrowDown")
    assert page.evaluate(CHOSEN)[2] == "deck_pour"
    page.keyboard.press("Home")
    assert page.evaluate(CHOSEN)[0] == "E01"


def test_the_wheel_zooms_about_the_station_under_the_pointer(served, watch):
    page = watch.open_still_map(served.url)
    x, y = page.evaluate(CELL, ["E10", 0, "rebar"])
    edge = page.evaluate("document.getElementById('strip-view').getBoundingClientRect().left")
    at = "x => window.pourmap.stationAtPixel(x)"
    before, whole = page.evaluate(at, x - edge), page.evaluate("window.pourmap.strip.range")
    page.mouse.move(x, y)
    page.mouse.wheel(0, -600)
    page.wait_for_function(
        "(l) => window.pourmap.strip.range[1] - window.pourmap.strip.range[0] < l / 2",
        arg=whole[1] - whole[0],
    )
    a_pixel = page.evaluate("1 / window.pourmap.strip.scene.frame.perStation")
    assert page.evaluate(at, x - edge) == pytest.approx(before, abs=5 * a_pixel)
    page.click("#strip-fit")
    assert page.evaluate("window.pourmap.strip.range") == pytest.approx(whole)


def test_a_drag_pans_the_strip_and_chooses_nothing(served, watch):
    page = watch.open_still_map(served.url)
    page.evaluate("window.pourmap.zoomStrip(0.2)")
    x, y = page.evaluate(CELL, ["E14", 0, "rebar"])
    before = page.evaluate("window.pourmap.strip.range")
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 120, y, steps=6)
    page.mouse.up()
    after = page.evaluate("window.pourmap.strip.range")
    assert after[0] > before[0]
    assert page.evaluate(CHOSEN) is None


def test_the_canvas_follows_the_map_by_public_events_alone(served, watch):
    """The map library's own object is no public part of the plotting library."""
    context = watch.context()
    page = context.new_page()
    page.add_init_script(
        """const space = {};
        Object.defineProperty(space, 'mapObject', { get: () => () => null, set() {} });
        Object.defineProperty(window, 'pourmap', { get: () => space, set() {} });"""
    )
    page.goto(served.url)
    page.wait_for_selector("#map-view[data-ready=yes]")
    page.wait_for_function("() => window.pourmap.map.plot._fullLayout.map._subplot.map.loaded()")
    box = page.locator("#map-view").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    before = page.evaluate("window.pourmap.map.view")
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x - 150, y, steps=8)
    page.mouse.up()
    page.wait_for_function("(lon) => window.pourmap.map.view.lon > lon", arg=before["lon"])
    page.mouse.wheel(0, -400)
    page.wait_for_function("(zoom) => window.pourmap.map.view.zoom > zoom", arg=before["zoom"])
    page.wait_for_function(
        """() => {
            const { view, plot } = window.pourmap.map;
            const real = plot._fullLayout.map._subplot.map;
            return Math.abs(real.getZoom() - view.zoom) < 1e-6
                && Math.abs(real.getCenter().lng - view.lon) < 1e-9;
        }"""
    )


def test_map_and_strip_come_back_after_another_page(served, watch):
    page = watch.open_map(served.url)
    go = """(path) => {
        history.pushState(null, '', path);
        dispatchEvent(new PopStateEvent('popstate'));
    }"""
    page.evaluate(go, "/nowhere")
    page.wait_for_selector("#map-view", state="detached")
    page.evaluate(go, "/")
    page.wait_for_selector("#map-view[data-ready=yes]")
    page.wait_for_function(
        """() => ['.map-paint', '.strip-paint'].every((name) => {
            const canvas = document.querySelector(name);
            const data = canvas.getContext('2d')
                .getImageData(0, 0, canvas.width, canvas.height).data;
            return data.some((value, k) => k % 4 === 2 && value === 0x94 && data[k - 2] === 0x0d);
        })"""
    )


def test_a_map_made_smaller_still_shows_the_whole_viaduct(served, watch):
    page = watch.open_map(served.url)
    page.set_viewport_size({"width": 700, "height": 900})
    page.wait_for_function(
        """() => {
            const { scene } = window.pourmap.map;
            const xs = [...scene.axes].filter((_, k) => k % 2 === 0);
            return scene.screen.width < 700 && Math.min(...xs) > 0
                && Math.max(...xs) < scene.screen.width;
        }"""
    )
