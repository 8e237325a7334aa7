"""The line page in a real browser: what a scheduler reads, selects, stops and compares."""

import threading

import pytest

from model.line_answers import LineAnswers
from tests.browser.conftest import DESKTOP, PHONE
from tests.browser.entry_steps import until
from tests.browser.test_accessibility import faults

BARS = "#line-chart .js-plotly-plot .bars path"
SIZES = [pytest.param(DESKTOP, id="desk"), pytest.param(PHONE, id="phone")]


def open_line(watch, served, query="", viewport=DESKTOP):
    page = watch.open(f"{served.url}/line{query}", viewport)
    page.wait_for_selector(BARS)
    return page


def shown_units(page):
    """Units that the chart names along its top."""
    return page.evaluate(
        "() => document.querySelector('#line-chart .js-plotly-plot')._fullLayout.annotations"
        ".map((note) => note.text.replace(/<[^>]*>/g, ''))"
        ".filter((text) => /^[EW]\\d\\d$/.test(text))"
    )


def wait_until_shown(page, unit):
    """Wait until the chart names a unit; the words beside it may come first."""
    until(page, lambda: unit in shown_units(page))


def wait_for_all_parts(page):
    """Wait until every chart is drawn and old projections are tested."""
    for chart in ("line-chart", "line-curve", "line-cycles"):
        page.wait_for_selector(f"#{chart} .js-plotly-plot .main-svg")
    page.wait_for_selector("#line-pours > *")
    page.wait_for_selector("#line-backtest .lead")


def middle_of(page, unit):
    """Pixel in the middle of a unit's stations, and where the chart's first box of it lies."""
    return page.evaluate(
        """(unit) => {
            const plot = document.querySelector("#line-chart .js-plotly-plot");
            const { xaxis, yaxis, _size } = plot._fullLayout;
            for (const trace of plot._fullData) {
                if (trace.type !== "bar") continue;
                const at = trace.customdata.findIndex((one) => one[0] === unit);
                if (at < 0) continue;
                const frame = plot.getBoundingClientRect();
                const day = new Date(trace.base[at]).getTime() + trace.y[at] / 2;
                return {
                    x: frame.left + _size.l + xaxis.d2p(trace.x[at]),
                    y: frame.top + _size.t + yaxis.d2p(new Date(day).toISOString().slice(0, 16)),
                };
            }
            return null;
        }""",
        unit,
    )


def test_who_lags_why_and_who_starves_next_are_read_without_scrolling(served, watch):
    page = open_line(watch, served)
    for words in ("Lags most:", "Next to starve:"):
        line = page.get_by_text(words)
        assert line.is_visible()
        box = line.bounding_box()
        assert box["y"] + box["height"] < DESKTOP["height"] / 2
    worst = served.project.lag().lagging.iloc[0]
    said = page.locator(".lag-summary .lead").first.inner_text()
    assert worst["unit"] in said
    assert worst["why"] in said


def test_units_of_a_slow_heading_are_found_in_the_table_and_shown_on_the_chart(served, watch):
    page = open_line(watch, served)
    late = served.project.lag().late_with_heading
    assert {"W07", "W08"} <= set(late["unit"])
    for unit in ("W07", "W08"):
        line = page.locator(".lag-table tr", has=page.get_by_role("button", name=unit)).first
        assert line.is_visible()
        assert "The whole heading is slow: rebar" in line.inner_text()
        assert "deck pour crew starves" in line.inner_text()
    page.locator(".lag-table .unit-button", has_text="W08").first.click()
    page.wait_for_function(
        "() => document.getElementById('line-unit').innerText.startsWith('Unit W08')"
    )


def test_the_page_opens_on_the_unit_that_lags_most(served, watch):
    page = open_line(watch, served)
    worst = served.project.lag().lagging.iloc[0]
    assert worst["unit"] in shown_units(page)
    assert page.locator("#line-unit").inner_text().startswith(f"Unit {worst['unit']}")


def test_a_press_on_a_unit_in_the_table_shows_it_on_the_chart_and_in_the_address(served, watch):
    page = open_line(watch, served)
    button = page.locator(".lag-table .unit-button").nth(1)
    unit, heading = button.inner_text(), button.get_attribute("data-heading")
    button.click()
    page.wait_for_function(
        "(unit) => document.getElementById('line-unit').innerText.startsWith('Unit ' + unit)",
        arg=unit,
    )
    page.wait_for_function("(unit) => location.search.includes('unit=' + unit)", arg=unit)
    assert f"heading={heading}" in page.url
    wait_until_shown(page, unit)


def test_a_click_on_the_chart_selects_the_unit_and_links_it_to_the_map(served, watch):
    page = open_line(watch, served, "?heading=E_from_west&activity=rebar")
    at = middle_of(page, "E03")
    page.locator("#line-chart").scroll_into_view_if_needed()
    at = middle_of(page, "E03")
    page.mouse.click(at["x"], at["y"])
    page.wait_for_function(
        "() => document.getElementById('line-unit').innerText.startsWith('Unit E03')"
    )
    page.get_by_role("link", name="Show on the map").click()
    page.wait_for_selector("#map-view[data-ready=yes]")
    page.wait_for_function("() => window.pourmap.state.statuses !== null")
    chosen = page.evaluate(
        "() => { const { spans, span } = window.pourmap.state;"
        " return spans.units[spans.unitOf[span]]; }"
    )
    assert chosen == "E03"


def test_a_brush_over_stations_selects_every_unit_it_touches(served, watch):
    page = open_line(watch, served, "?heading=E_from_west&activity=rebar")
    page.locator("#line-chart").scroll_into_view_if_needed()
    first, last = middle_of(page, "E02"), middle_of(page, "E05")
    page.mouse.move(first["x"] - 15, last["y"] + 60)
    page.mouse.down()
    page.mouse.move(last["x"] + 15, last["y"] + 60, steps=6)
    page.mouse.up()
    page.wait_for_selector("#line-unit :text('Brushed:')")
    brushed = page.locator("#line-unit").inner_text()
    units = ["E02", "E03", "E04", "E05"]
    for unit in units:
        assert unit in brushed
    page.get_by_role("link", name="all on the map").click()
    page.wait_for_selector("#map-view[data-ready=yes]")
    page.wait_for_function("() => window.pourmap.state.statuses !== null")
    outlined = page.evaluate(
        "() => [...new Set(window.pourmap.chosenSpans().map((i) =>"
        " window.pourmap.state.spans.units[window.pourmap.state.spans.unitOf[i]]))]"
    )
    assert outlined == units


def test_a_deep_link_shows_the_heading_the_crew_and_the_unit_it_names(served, watch):
    page = open_line(watch, served, "?heading=W_from_west&activity=rebar&unit=W07")
    assert page.locator("#line-unit").inner_text().startswith("Unit W07")
    assert set(shown_units(page)) == set(
        next(h.units for h in served.project.job.headings if h.key == "W_from_west")
    )


def test_choosing_another_crew_redraws_the_chart_the_curve_and_the_cycles(served, watch):
    page = open_line(watch, served, "?heading=E_from_west&activity=rebar")
    page.wait_for_selector("#line-cycles-words :text('Rebar on E_from_west')")
    page.locator("#line-activity label", has_text="Deck pour").click()
    page.wait_for_selector("#line-cycles-words :text('Deck pour on E_from_west')")
    page.wait_for_selector("#line-curve-words:has-text('Deck pour')")
    page.wait_for_function("() => location.search.includes('activity=deck_pour')")


def test_the_test_of_old_projections_shows_its_progress_and_ends_in_a_sentence(served, watch):
    page = open_line(watch, served)
    page.wait_for_selector("#line-backtest .lead")
    said = page.locator("#line-backtest .lead").inner_text()
    assert said == str(served.project.backtest())
    assert page.locator("#line-backtest-cancel").is_disabled()


def test_the_test_of_old_projections_can_be_cancelled(served, watch, monkeypatch):
    weeks = []

    def slow(_, on_week):
        for week in range(1, 10_000):
            weeks.append(week)
            if not on_week(week, 10_000):
                break
            page_asked.wait(0.02)
        return None

    page_asked = threading.Event()
    monkeypatch.setattr(LineAnswers, "backtest", slow)
    page = open_line(watch, served)
    page.wait_for_selector("#line-backtest [role=progressbar]")
    page.locator("#line-backtest-cancel:enabled").click()
    page.wait_for_selector("#line-backtest:has-text('Stopped')")
    assert 0 < len(weeks) < 9_999


def test_cases_are_compared_and_saved_as_a_file(served, watch, tmp_path):
    page = open_line(watch, served)
    before = served.project.last_seq()
    page.get_by_role("button", name="Compare").click()
    page.wait_for_selector(".whatif-table")
    rows = page.locator(".whatif-table tbody tr").all_inner_texts()
    assert rows[0].startswith("as it is")
    assert any(row.startswith("Six-day week") for row in rows)
    with page.expect_download() as download:
        page.get_by_role("button", name="Save the cases as a file").click()
    target = tmp_path / download.value.suggested_filename
    download.value.save_as(target)
    names = [case.name for case in served.project.whatif_file(target).cases]
    assert names == [row.split("\t")[0] for row in rows]
    assert served.project.last_seq() == before


def test_a_comparison_that_takes_long_can_be_cancelled(served, watch, monkeypatch):
    enough = threading.Event()

    def slow(line, changes, as_of=None, on_case=None):
        for case in range(10_000):
            if not on_case(case, 10_000):
                break
            enough.wait(0.02)

    monkeypatch.setattr(LineAnswers, "whatif", slow)
    page = open_line(watch, served)
    page.get_by_role("button", name="Compare").click()
    page.wait_for_selector("#whatif-answer [role=progressbar]")
    page.locator("#whatif-cancel:enabled").click()
    page.wait_for_selector("#whatif-answer:has-text('Stopped')")
    assert page.locator("#whatif-cancel").is_disabled()


def test_the_map_outlines_what_lags_once_asked_to(served, watch):
    page = watch.open_map(served.url)
    page.locator("#outlines input").check(force=True)
    page.wait_for_function("() => window.pourmap.state.lag !== null && window.pourmap.state.lag")
    shown = page.evaluate("() => window.pourmap.state.lag.spans")
    assert shown == {key: list(rows) for key, rows in served.project.line.lagging_spans().items()}
    assert sum(len(rows) for rows in shown.values()) > 0


@pytest.mark.parametrize("size", SIZES)
def test_nothing_on_the_page_is_wider_than_the_screen(served, watch, size):
    page = open_line(watch, served, "?heading=all&activity=all", size)
    wait_for_all_parts(page)
    wide = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
    assert page.evaluate(wide) == 0


@pytest.mark.parametrize("size", SIZES)
def test_the_page_with_all_opened_has_no_serious_fault_of_accessibility(served, watch, size):
    page = open_line(watch, served, "", size)
    page.evaluate("() => document.querySelectorAll('details').forEach((one) => (one.open = true))")
    page.get_by_role("button", name="Compare").click()
    page.wait_for_selector(".whatif-table")
    wait_for_all_parts(page)
    assert faults(page) == []
