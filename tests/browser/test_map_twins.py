"""Browser functions against their Python twins and against published values."""

import datetime as dt
import json
from pathlib import Path

import numpy as np
import pyproj
import pytest

from dashboard.parts import map_view
from dashboard.parts.palette import table
from model.changes import changes
from model.clock import end_of_day
from model.fold import fold
from tests.model.builders import a_frame, a_job, an_event, only

ROOT = Path(__file__).parents[2]
CASES = json.loads((ROOT / "tests/data/fold_cases.json").read_text())["cases"]
SCRIPTS = sorted((ROOT / "assets").glob("*.js"))


@pytest.fixture(scope="module")
def page(browser):
    page = browser.new_page()
    page.set_content("<p>")
    for script in SCRIPTS:
        page.add_script_tag(path=script)
    yield page
    page.close()


@pytest.mark.parametrize("case", CASES, ids=[case["name"] for case in CASES])
def test_both_folds_say_what_the_events_mean(page, case):
    activities = only("falsework", "rebar")
    job = a_job(units=len(case["spans"]), spans=case["spans"], activities=activities)
    events = [
        an_event(kind, at, unit, activity, span)
        for kind, at, unit, span, activity in case["events"]
    ]
    frame = a_frame(*events)
    told = changes(frame, job)
    days = np.datetime64("2026-03-02") + np.arange(30)
    columns = {
        "day": np.searchsorted(days, told["day"].to_numpy("datetime64[D]")),
        **{name: told[name].to_numpy() for name in ("span", "activity", "status")},
    }
    store = map_view.changes_store("key", days, activities, len(job.spans), columns)
    for expected in case["expected"]:
        words = [expected["falsework"], expected["rebar"]]
        day = dt.date.fromisoformat(expected["day"])
        codes = fold(frame, job, as_of=end_of_day(day)).status_codes.T
        assert ["".join(map(str, row)) for row in codes] == words
        step = store["dates"].index(expected["day"])
        flat = page.evaluate(
            "([store, day]) => [...pourmap.statusesAt(pourmap.readChanges(store), day)]",
            [store, step],
        )
        assert "".join(map(str, flat)) == "".join(words)


def test_sixty_thousand_changes_fold_within_10_ms(page):
    draw = np.random.default_rng(4)
    n = 60_000
    columns = {
        "day": np.sort(draw.integers(0, 400, n)),
        "span": draw.integers(0, 5000, n),
        "activity": draw.integers(0, 2, n),
        "status": draw.integers(0, 4, n),
    }
    days = np.datetime64("2026-03-02") + np.arange(400)
    activities = only("falsework", "rebar")
    store = map_view.changes_store("key", days, activities, 5000, columns)
    flat, spent_ms = page.evaluate(
        """(store) => {
            const changes = pourmap.readChanges(store);
            const times = [];
            let found;
            for (let k = 0; k < 9; k++) {
                const start = performance.now();
                found = pourmap.statusesAt(changes, 250);
                times.push(performance.now() - start);
            }
            return [[...found], times.sort((a, b) => a - b)[4]];
        }""",
        store,
    )
    expected = np.zeros(2 * 5000, dtype=int)
    upto = columns["day"] <= 250
    cell = columns["activity"] * 5000 + columns["span"]
    expected[cell[upto]] = columns["status"][upto]  # of equal cells NumPy keeps the last
    np.testing.assert_array_equal(flat, expected)
    assert spent_ms < 10


def test_the_map_is_web_mercator(page):
    """PROJ's EPSG:3857, whose world is 2·π·6,378,137 m wide."""
    width = 2 * np.pi * 6_378_137
    to_metres = pyproj.Transformer.from_crs(4326, 3857, always_xy=True)
    for lon, lat in ((-122.4, 37.8), (0, 0), (151.2, -33.9), (25.0, 68.0)):
        x, y = page.evaluate("([lon, lat]) => pourmap.mercator(lon, lat)", [lon, lat])
        east, north = to_metres.transform(lon, lat)
        assert x * width - width / 2 == pytest.approx(east, abs=1e-6)
        assert width / 2 - y * width == pytest.approx(north, abs=1e-6)
        back = page.evaluate("([x, y]) => pourmap.degrees(x, y)", [x, y])
        assert back == pytest.approx([lon, lat], abs=1e-12)


def test_a_pixel_and_its_place_are_inverse_whichever_way_the_map_is_turned(page):
    for bearing in (0, 30, 200):
        x, y = page.evaluate(
            """(bearing) => {
                const view = { lon: -122, lat: 38, zoom: 15.3, bearing };
                const screen = pourmap.mapScreen(view, 1400, 400, pourmap.mercator(-122.001, 38));
                return pourmap.toScreen(screen, ...pourmap.fromScreen(screen, 123, 345));
            }""",
            bearing,
        )
        assert (x, y) == pytest.approx((123, 345), abs=1e-6)


def test_a_map_turned_east_up_shows_the_east_at_the_top(page):
    x, y = page.evaluate(
        """() => {
            const view = { lon: 10, lat: 50, zoom: 14, bearing: 90 };
            const origin = pourmap.mercator(10, 50);
            const screen = pourmap.mapScreen(view, 800, 600, origin);
            const [ex, ey] = pourmap.mercator(10.001, 50);
            return pourmap.toScreen(screen, ex - origin[0], ey - origin[1]);
        }"""
    )
    assert x == pytest.approx(400, abs=0.01)
    assert y < 299


@pytest.mark.parametrize(
    ("unit", "value", "written"),
    [
        # Common practice, no source: hundreds of feet, or kilometres, before the plus.
        ("ft", 1240, "12+40"),
        ("ft", 5, "0+05"),
        ("ft", 1299.6, "13+00"),
        ("ft", -250, "-2+50"),
        ("m", 1240, "1+240"),
        ("m", 40, "0+040"),
    ],
)
def test_stations_are_written_as_the_trade_does(page, unit, value, written):
    assert (
        page.evaluate(
            """([unit, value]) => {
                pourmap.state.stationUnit = unit;
                return pourmap.station(value);
            }""",
            [unit, value],
        )
        == written
    )


@pytest.mark.parametrize(
    ("metres_per_pixel", "unit", "text"),
    [(1.0, "m", "100 m"), (12.0, "m", "1 km"), (0.3048, "ft", "100 ft"), (0.2, "m", "20 m")],
)
def test_the_scale_bar_is_as_long_as_it_says(page, metres_per_pixel, unit, text):
    bar = page.evaluate("([m, unit]) => pourmap.scaleBar(m, unit, 140)", [metres_per_pixel, unit])
    assert bar["text"] == text
    number, said = text.split()
    metres = float(number) * {"m": 1, "km": 1000, "ft": 0.3048}[said]
    assert bar["pixels"] * metres_per_pixel == pytest.approx(metres)
    assert 140 / 2.5 <= bar["pixels"] <= 140


def test_a_number_of_a_day_is_the_last_one_given_up_to_it(page):
    store = map_view.numbers_store("k", {"units": {"*": ["0", "0", "1", "1", "2"]}})
    series = store["series"]["units"]["*"]
    said = page.evaluate(
        "(series) => [0, 1, 2, 3, 4, 9].map((day) => pourmap.textAt(series, day))", series
    )
    assert said == ["0", "0", "1", "1", "2", "2"]


TWINS = """
(south) => {
    /* Two structures of three spans, 40 m long and 12 m wide, the second `south` metres south. */
    const metre = 1 / 111320;
    const box = (k, i) => {
        const [w, e] = [i * 40, i * 40 + 40].map((m) => (m * metre));
        const [s, n] = [-6, 6].map((m) => ((m - k * south) * metre));
        return [[[w, s], [e, s], [e, n], [w, n], [w, s]]];
    };
    const features = [];
    for (let k = 0; k < 2; k++) for (let i = 0; i < 3; i++) features.push({
        id: 3 * k + i,
        properties: { unit: 'EW'[k] + '1', span: String(i + 1), structure: 'EW'[k], heading: 'h',
            from: i * 40, to: i * 40 + 40 },
        geometry: { type: 'Polygon', coordinates: box(k, i) },
    });
    return pourmap.readSpans({ features });
}
"""


def bands(page, zoom, south=30):
    """Screen lines of twin structures, as rows of x1, y1, x2, y2."""
    flat = page.evaluate(
        f"""([zoom, south]) => {{
            const spans = ({TWINS})(south);
            const view = {{ lon: 0.0005, lat: 0, zoom }};
            const screen = pourmap.mapScreen(view, 1000, 600, spans.origin);
            const out = new Float64Array(4 * spans.n);
            return [...pourmap.screenAxes(screen, spans, pourmap.BAND, out)];
        }}""",
        [zoom, south],
    )
    return np.reshape(flat, (6, 4))


def test_twin_structures_keep_apart_where_true_scale_would_merge_them(page):
    lines = bands(page, zoom=10)
    apart = lines[3:, 1] - lines[:3, 1]
    assert np.all(apart >= page.evaluate("pourmap.BAND"))
    assert np.all(apart < 20)


def test_near_by_every_span_lies_at_its_true_place(page):
    zoom = 18
    lines = bands(page, zoom)
    metres_per_pixel = 40_075_016.686 / 512 / 2**zoom
    assert (lines[3:, 1] - lines[:3, 1]) * metres_per_pixel == pytest.approx(30, rel=2e-3)
    assert (lines[:, 2] - lines[:, 0]) * metres_per_pixel == pytest.approx(40, rel=2e-3)


def test_structures_far_apart_are_not_moved(page):
    lines = bands(page, zoom=14, south=3000)
    metres_per_pixel = 40_075_016.686 / 512 / 2**14
    assert (lines[3:, 1] - lines[:3, 1]) * metres_per_pixel == pytest.approx(3000, rel=2e-3)


def test_a_thumb_beside_a_span_still_finds_it(page):
    found = page.evaluate(
        f"""() => {{
            const spans = ({TWINS})(30);
            const view = {{ lon: 0.0005, lat: 0, zoom: 10 }};
            const screen = pourmap.mapScreen(view, 1000, 600, spans.origin);
            const axes = pourmap.screenAxes(screen, spans, pourmap.BAND, new Float64Array(24));
            const [x, y] = [axes[0], axes[1]];
            return [[0, -15], [0, -40]].map(([dx, dy]) =>
                pourmap.spanAt(screen, spans, axes, x + dx, y + dy, 22));
        }}"""
    )
    assert found[0] in (0, 1, 2)
    assert found[1] == -1


def test_a_hold_is_never_lost_among_spans_thinner_than_a_pixel(page):
    """Of 3,000 spans on 300 pixels one is on hold: its colour must be on the strip."""
    colour = table()["statuses"][2]["fill"]
    count = page.evaluate(
        """([palette, hold]) => {
            const n = 3000;
            const index = [...Array(n).keys()];
            const spans = { n, structures: ['E'], alongStructure: [index],
                from: Float64Array.from(index), to: Float64Array.from(index, (i) => i + 1),
                structureOf: new Uint16Array(n) };
            const statuses = new Uint8Array(n).fill(3);
            statuses[1234] = 2;
            const activities = [{ key: 'rebar', name: 'Rebar' }];
            const frame = pourmap.stripRows(spans, activities, 0, 412);
            Object.assign(frame, { width: 412, first: 0,
                perStation: (412 - frame.gutter - 8) / n });
            const canvas = document.createElement('canvas');
            [canvas.width, canvas.height] = [412, frame.height];
            const pen = canvas.getContext('2d');
            pourmap.paintStrip(pen, { palette: pourmap.readPalette(palette), spans, statuses,
                typicalLength: 1, activities, activity: 0, frame, reach: [0, n], chosen: [],
                span: -1, ends: (i) => [0, 0], laggingOf: () => null, structureNames: {},
                ratio: 1 });
            const pixels = pen.getImageData(0, 0, 412, frame.height).data;
            let count = 0;
            for (let k = 0; k < pixels.length; k += 4) {
                const [r, g, b] = [1, 3, 5].map((at) => parseInt(hold.slice(at, at + 2), 16));
                if (pixels[k] === r && pixels[k + 1] === g && pixels[k + 2] === b) count++;
            }
            return count;
        }""",
        [table(), colour],
    )
    assert count >= 30  # one column, as high as its row
