"""The map page as people use it: it paints, selects, slides, and shows what others enter."""

import datetime as dt
import threading

import pytest
from playwright.sync_api import expect

from dashboard.parts.frame import GROWTH_MS
from model.clock import end_of_day
from model.events import STATUSES, Event
from model.line_answers import LineAnswers
from tests.browser.conftest import DESKTOP, PHONE
from tests.browser.entry_steps import until


def status_on_screen(page, activity, unit):
    """Status the browser holds for the spans of a unit, as words of the log."""
    codes = page.evaluate(
        """([activity, unit]) => {
            const { spans, changes } = window.pourmap.state;
            const a = changes.activities.findIndex((one) => one.key === activity);
            const row = window.pourmap.statusesOf(a);
            return spans.spansOfUnit[spans.units.indexOf(unit)].map((i) => row[i]);
        }""",
        [activity, unit],
    )
    return {STATUSES[code] for code in codes}


def painted_colours(page):
    """How many pixels of each fill of the palette the map canvas shows."""
    return page.evaluate(
        """() => {
            const canvas = document.querySelector('canvas.map-paint');
            const { width, height } = canvas;
            const data = canvas.getContext('2d').getImageData(0, 0, width, height).data;
            const count = {};
            for (let i = 0; i < data.length; i += 4) {
                if (data[i + 3] < 255) continue;
                const key = '#' + [0, 1, 2]
                    .map((k) => data[i + k].toString(16).padStart(2, '0')).join('');
                count[key] = (count[key] || 0) + 1;
            }
            return count;
        }"""
    )


def fill_of(page, status):
    looks = page.evaluate("() => window.pourmap.state.palette.looks.map((l) => l.fill)")
    return looks[STATUSES.index(status)]


def slide_to(page, day):
    """Move the day slider as a hand would: the control gets the value and says so."""
    page.evaluate(
        """(day) => {
            const control = document.getElementById('day');
            const set = Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, 'value').set;
            set.call(control, day);
            control.dispatchEvent(new Event('input', { bubbles: true }));
            control.dispatchEvent(new Event('change', { bubbles: true }));
        }""",
        str(day),
    )
    page.wait_for_function("(day) => window.pourmap.state.day === day", arg=day)


@pytest.mark.parametrize("viewport", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_the_map_paints_every_status_there_is(served, watch, viewport):
    page = watch.open_map(served.url, viewport)
    painted = painted_colours(page)
    state = served.project.state()
    pours = state.spans[state.spans["activity"] == "deck_pour"]["status"].unique()
    for status in pours:
        assert painted.get(fill_of(page, status), 0) > 100, f"{status} is not to be seen"


def test_the_map_and_its_dates_do_not_wait_for_the_outlines_of_what_lags(
    served, watch, monkeypatch
):
    looking, go_on = LineAnswers.lagging_spans, threading.Event()

    def slow(line, as_of):
        assert go_on.wait(60)
        return looking(line, as_of)

    monkeypatch.setattr(LineAnswers, "lagging_spans", slow)
    outlines = "() => (window.pourmap.laggingOf(window.pourmap.state.activity) || []).some(Boolean)"
    page = watch.open_map(f"{served.url}/?lag=1&activity=rebar")
    page.wait_for_selector("#finish-card:has-text('80 % sure by')")
    assert painted_colours(page).get(fill_of(page, "complete"), 0) > 100
    assert not page.evaluate(outlines)
    go_on.set()
    page.wait_for_function(outlines)


def test_statuses_are_on_the_map_before_the_plotting_library_is_read(served, watch):
    page = watch.context().new_page()
    held = []

    def hold(route):
        held.append(route)

    page.route("**/plotly.min.js", hold)
    page.goto(served.url, wait_until="domcontentloaded")
    page.wait_for_function("() => window.pourmap && window.pourmap.map.scene")
    painted = painted_colours(page)
    assert painted.get(fill_of(page, "complete"), 0) > 100
    page.wait_for_function("() => /of/.test(document.querySelector('.value').textContent)")
    until(page, lambda: held)  # the library was asked for
    held[0].continue_()
    page.wait_for_selector("#map-view[data-ready=yes]")
    painted = painted_colours(page)
    assert painted.get(fill_of(page, "complete"), 0) > 100


def test_who_zooms_as_soon_as_the_map_is_there_is_not_thrown_back(served, watch):
    page = watch.open_map(served.url)
    page.evaluate("() => document.getElementById('map-view').focus({ preventScroll: true })")
    page.keyboard.press("+")
    fitted = page.evaluate(
        """() => {
            const { clientWidth, clientHeight } = document.getElementById("map-view");
            return window.pourmap.viewOf(null, clientWidth, clientHeight).zoom;
        }"""
    )
    page.wait_for_selector("#finish-card:has-text('80 % sure by')")
    page.evaluate("() => Plotly.Plots.resize(pourmap.map.plot).then(() => true)")
    zoom = page.evaluate("() => window.pourmap.mapObject(window.pourmap.map.plot).getZoom()")
    assert zoom == pytest.approx(fitted + 1)


def test_the_browser_and_the_fold_agree_on_every_span(served, watch):
    page = watch.open_map(served.url)
    codes = page.evaluate("() => [...window.pourmap.state.statuses]")
    expected = served.project.state().status_codes.T.ravel().tolist()
    assert codes == expected


def test_a_click_on_a_unit_opens_its_history(served, watch):
    page = watch.open_map(f"{served.url}/?unit=E05&span=2")
    page.wait_for_function("() => window.pourmap.state.span >= 0")
    page.focus("#map-view")
    page.keyboard.press("Enter")
    page.wait_for_selector("#history .history li")
    assert "E05" in page.inner_text("#history-title")
    newest = served.project.history("E05")[0].event
    assert newest.by in page.inner_text("#history")
    page.keyboard.press("Escape")
    page.wait_for_selector("#history-panel.closed", state="attached")


def test_a_click_with_the_pointer_selects_what_is_under_it(served, watch):
    page = watch.open_still_map(f"{served.url}/?heading=E_from_west")
    x, y = page.evaluate(
        """() => {
            const { axes, spans } = window.pourmap.map.scene;
            const unit = spans.units.indexOf('E03');
            const i = spans.spansOfUnit[unit][1];
            const box = document.getElementById('map-view').getBoundingClientRect();
            const [x1, y1, x2, y2] = axes.subarray(4 * i, 4 * i + 4);
            return [box.left + (x1 + x2) / 2, box.top + (y1 + y2) / 2];
        }"""
    )
    page.mouse.click(x, y)
    page.wait_for_selector("#history .history li")
    assert "E03" in page.inner_text("#history-title")


def test_the_slider_recolours_map_and_strip_without_asking_the_server(served, watch):
    page = watch.open_map(served.url)
    asked = []
    before = painted_colours(page)
    page.on("request", lambda request: asked.append(request.post_data or ""))
    slide_to(page, 0)
    first_evening = end_of_day(served.project.job.calendar.start)
    expected = served.project.state(as_of=first_evening).status_codes.T.ravel().tolist()
    assert page.evaluate("() => [...window.pourmap.state.statuses]") == expected
    after = painted_colours(page)
    complete = fill_of(page, "complete")
    assert before.get(complete, 0) > 100
    assert after.get(complete, 0) == 0
    assert not [body for body in asked if "coordinates" in body or "map.figure" in body]
    assert "2 Mar 2026" in page.inner_text(".day-label")
    assert page.inner_text(".number-card .value >> nth=0").startswith("0 of")


def test_no_answer_after_the_first_drawing_holds_coordinates(served, watch):
    page = watch.open_map(served.url)
    bodies = []
    page.on("response", lambda answer: bodies.append(answer.text()))
    slide_to(page, 120)
    page.check("input[value=rebar]")
    page.wait_for_function("() => window.pourmap.state.activityKey === 'rebar'")
    with page.expect_response(lambda answer: "finish-card" in answer.text()):
        slide_to(page, 100)
    until(page, lambda: bodies)
    assert not [body for body in bodies if "coordinates" in body]


def test_the_address_holds_what_one_sees(served, watch):
    page = watch.open_map(
        f"{served.url}/?activity=rebar&as-of=2026-09-01&heading=W_from_west&unit=W03&span=1"
    )
    page.wait_for_function("() => window.pourmap.state.span >= 0")
    state = served.project.state(as_of=dt.datetime(2026, 9, 1, 23, 59))
    shown = status_on_screen(page, "rebar", "W03")
    spans = state.spans[(state.spans["unit"] == "W03") & (state.spans["activity"] == "rebar")]
    assert shown == set(spans["status"])
    for part in ("activity=rebar", "as-of=2026-09-01", "heading=W_from_west", "unit=W03"):
        page.wait_for_function("(part) => location.search.includes(part)", arg=part)


def test_an_address_that_leads_nowhere_says_so_and_shows_the_map(served, watch):
    page = watch.open_map(f"{served.url}/?activity=painting&as-of=last%20week&unit=Z9")
    said = page.inner_text("#page")
    for wrong in ("painting", "last week", "Z9"):
        assert wrong in said


def test_an_entry_made_elsewhere_shows_within_five_seconds(served, watch):
    """The page asks twice in them; how long an answer takes is the machine's matter."""
    assert 2 * GROWTH_MS <= 5_000
    page = watch.open_map(served.url)
    ready = served.project.at_hand("falsework")
    row = ready[(ready["status"] == "not_started") & ready["at_hand"]].iloc[0]
    assert status_on_screen(page, "falsework", row["unit"]) == {"not_started"}
    served.project.record([Event(served.project.now(), "Ada", row["unit"], "falsework", "start")])
    page.wait_for_function(
        """(unit) => {
            const { spans } = window.pourmap.state;
            const i = spans.spansOfUnit[spans.units.indexOf(unit)][0];
            return window.pourmap.statusesOf(0)[i] === 1;
        }""",
        arg=row["unit"],
    )


def test_the_line_page_reached_from_the_map_learns_of_what_is_recorded_meanwhile(served, watch):
    page = watch.open_map(served.url)
    page.get_by_role("link", name="Line").first.click()
    page.wait_for_selector("#line-chart .js-plotly-plot .bars path")
    ready = served.project.at_hand("falsework")
    row = ready[(ready["status"] == "not_started") & ready["at_hand"]].iloc[0]
    with page.expect_response(
        lambda response: "line-lag.children" in (response.request.post_data or "")
    ) as answer:
        served.project.record(
            [Event(served.project.now(), "Ada", row["unit"], "falsework", "start")]
        )
    assert answer.value.ok


def test_map_and_strip_are_walked_by_keyboard(served, watch):
    page = watch.open_map(served.url)
    page.focus("#strip-view")
    page.keyboard.press("ArrowRight")
    first = page.inner_text("#selection-words")
    page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "(first) => document.getElementById('selection-words').textContent !== first", arg=first
    )
    page.keyboard.press("ArrowUp")
    page.wait_for_function("() => window.pourmap.state.activityKey === 'rebar'")
    expect(page.locator("input[value=rebar]")).to_be_checked()


def test_every_structure_is_reached_by_keyboard(served, watch):
    chosen = """() => {
        const { spans, span } = window.pourmap.state;
        return spans.structures[spans.structureOf[span]];
    }"""
    page = watch.open_map(f"{served.url}/?unit=E27&span=1")
    page.focus("#strip-view")
    page.keyboard.press("End")
    eastbound = page.evaluate(chosen)
    page.keyboard.press("ArrowRight")
    westbound = page.evaluate(chosen)
    assert "Unit W01, span 1" in page.inner_text("#selection-words")
    page.keyboard.press("ArrowLeft")
    assert page.evaluate(chosen) == eastbound != westbound
    page.focus("#map-view")
    page.keyboard.press("ArrowUp")
    assert page.evaluate(chosen) == westbound
    assert "Unit W27" in page.inner_text("#selection-words")
    page.keyboard.press("ArrowDown")
    assert page.evaluate(chosen) == eastbound


def test_projected_finish_and_cycle_come_from_the_project(served, watch):
    page = watch.open_map(served.url)
    page.wait_for_function(
        "() => !document.getElementById('finish-card').textContent.includes('…')"
    )
    finish = served.project.forecast().finish
    assert f"{finish.p50.day} {finish.p50:%b %Y}" in page.inner_text("#finish-card")
    assert f"{finish.p80.day} {finish.p80:%b %Y}" in page.inner_text("#finish-card")


def test_an_activity_is_shown_by_words_and_marks_too(served, watch):
    page = watch.open_map(served.url)
    legend = page.inner_text(".legend")
    for words in ("Not started", "Under way", "On hold", "Complete"):
        assert words in legend
    assert page.locator(".legend img.swatch").count() == len(STATUSES)
