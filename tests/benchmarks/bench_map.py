"""How long from a click to the changed pixel, and how much crosses the wire.

Run as ``python -m tests.benchmarks.bench_map [SPANS] [--runs N]``. One server, one browser, one
run: the map and strip as they are (*ours*) against the ordinary ways: the whole figure again, a
``Patch`` of ``z``, ``Plotly.restyle``, and the map library's feature state with a band four
pixels wide. Ours counts from the event's own time stamp and paints map *and* strip; a rival's
clock starts when the change is asked for and stops when its map has rendered a changed pixel.
Statuses are random, so nothing can be merged or compressed.
"""

from __future__ import annotations

import argparse
import gzip
import logging
import statistics
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page, sync_playwright
from werkzeug.serving import make_server

from dashboard.parts.palette import LOOKS
from tests.benchmarks.map_bench_app import N_CHANGES, BenchApp, bench_app

CLOCKS = (Path(__file__).parent / "map_clocks.js").read_text()
WAYS = ("whole", "patch", "restyle", "feature state")
ZOOMS = {"far": 11.0, "near": 15.0}
CHROMIUM = [
    "--no-sandbox",
    "--disable-gpu",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]

Times = dict[tuple[str, str], list[float]]


def open_page(browser: Browser, address: str, ready: str) -> Page:
    """Open an address and wait until its map rests."""
    page = browser.new_page(viewport={"width": 1440, "height": 900})
    page.goto(address)
    page.wait_for_function(ready, timeout=60_000)
    page.evaluate(CLOCKS)
    return page


def time_ours(page: Page, act: Callable[[int], Any], runs: int) -> list[dict[str, Any]]:
    """Act ``runs`` times and return pixel and frame times in milliseconds."""
    measured = []
    for k in range(runs):
        page.evaluate("clocks.startOurClock()")
        act(k)
        page.wait_for_function("window.measured", timeout=20_000)
        measured.append(page.evaluate("window.measured"))
    assert all(one["changed"] for one in measured), "a change that changed no pixel was timed"
    return measured


def measure_ours(browser: Browser, root: str, runs: int) -> tuple[Times, list[float], int, float]:
    """Time activity changes and slider steps; also count what the server was asked meanwhile."""
    began = time.perf_counter()
    ready = "document.querySelector('#map-view')?.dataset.ready === 'yes'"
    page = open_page(browser, root, ready)
    print(f"first page painted and at rest: {time.perf_counter() - began:.2f} s")
    place = page.evaluate("clocks.middleOfAQuarter()")
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    labels = page.locator("#activity label")
    times: Times = {}
    for zoom, level in ZOOMS.items():
        page.evaluate("view => clocks.goTo(view)", [*place, level])
        clicks = time_ours(page, lambda k: labels.nth((k + 1) % 6).click(), runs)
        page.locator("#day").focus()
        steps = time_ours(page, lambda k: page.keyboard.press(("PageDown", "PageUp")[k % 2]), runs)
        for name, measured in (("activity", clicks), ("slider step", steps)):
            times[zoom, f"ours, {name}, pixel"] = [one["pixel"] for one in measured]
            times[zoom, f"ours, {name}, frame"] = [one["frame"] for one in measured]
    fold_ms = page.evaluate("clocks.timeFold()")
    page.close()
    return times, place, len(asked), fold_ms


def measure_rivals(
    browser: Browser, root: str, bench: BenchApp, place: list[float], runs: int
) -> Times:
    """Time the ordinary ways at both zooms."""
    ready = "document.querySelector('.js-plotly-plot')?._fullLayout?.map?._subplot?.map?.loaded()"
    page = open_page(browser, root + "?rival", ready)
    states = [state.tolist() for state in bench.z]
    times: Times = {}
    for way in WAYS:
        if way == "feature state":
            fills = [look.fill for look in LOOKS]
            page.evaluate("a => clocks.addOwnLayer(a)", [bench.geometry_url, fills])
        for zoom, level in ZOOMS.items():
            times[zoom, way] = []
            for step in range(1, runs + 1):
                page.evaluate("view => clocks.goTo(view)", [*place, level])
                state = states[step % 2] if way in ("restyle", "feature state") else None
                times[zoom, way].append(page.evaluate("a => clocks.rivalClock(a)", [way, state]))
    page.close()
    return times


def say(times: Times) -> None:
    """Print medians without the first run, and how many times slower than ours."""
    for zoom, level in ZOOMS.items():
        print(f"{zoom} (zoom {level:.0f}):")
        ours = statistics.median(times[zoom, "ours, activity, pixel"][1:])
        for (where, label), values in times.items():
            if where != zoom:
                continue
            middle = statistics.median(values[1:])
            ratio = "" if label.startswith("ours") else f"   {middle / ours:6.1f} times ours"
            print(f"  {label:28s} {middle:8.1f} ms, worst {max(values[1:]):8.1f} ms{ratio}")


def say_bytes(bench: BenchApp) -> None:
    """Print what crosses the wire, once and at each change."""
    client = bench.app.server.test_client()
    for way, output in (("whole", "rival.figure"), ("patch", None)):
        known = [key for key in bench.app.callback_map if key.startswith("rival.figure")]
        name = output or next(key for key in known if key != "rival.figure")
        body = {
            "output": name,
            "outputs": {"id": "rival", "property": name.split(".", 1)[1]},
            "inputs": [{"id": way, "property": "n_clicks", "value": 1}],
            "changedPropIds": [f"{way}.n_clicks"],
        }
        began = time.perf_counter()
        answer = client.post("/_dash-update-component", json=body)
        spent = (time.perf_counter() - began) * 1000
        zipped = len(gzip.compress(answer.data))
        print(f"{way}: {len(answer.data):,} bytes, {zipped:,} gzipped, server {spent:.1f} ms")
    zipped = len(gzip.compress(bench.geometry))
    print(f"footprints, once: {len(bench.geometry):,} bytes, {zipped:,} gzipped")


def main() -> None:
    """Measure and print."""
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("spans", nargs="?", type=int, default=5000)
    words.add_argument("--runs", type=int, default=8)
    chosen = words.parse_args()
    chosen.runs += chosen.runs % 2  # two states take turns, so that every step changes pixels
    logging.getLogger("werkzeug").setLevel(logging.ERROR)
    bench = bench_app(chosen.spans)
    server = make_server("127.0.0.1", 0, bench.app.server, threaded=True)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    root = f"http://127.0.0.1:{server.port}/"
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path="/usr/bin/chromium", args=CHROMIUM)
        ours, place, asked, fold_ms = measure_ours(browser, root, chosen.runs)
        rivals = measure_rivals(browser, root, bench, place, chosen.runs)
        browser.close()
    server.shutdown()
    say(ours | rivals)
    print(f"fold of {N_CHANGES:,} changes in the browser: {fold_ms:.2f} ms")
    print(f"requests during our {4 * chosen.runs} changes: {asked}")
    say_bytes(bench)


if __name__ == "__main__":
    main()
