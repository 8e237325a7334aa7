"""How long 10,000 footprints take, next to the same work done a span at a time.

Run it from the project's folder: ``python -m tests.benchmarks.bench_footprints``. Both loops
are timed on 200 spans spread over the line and scaled up; every figure is from this one run.

- *formulas, a span at a time*: the same alignment asked span by span for the same vertices.
- *walking a drawn line*: the axis as a polyline with a vertex every 2 m, each edge point found
  by ``LineString.interpolate`` and moved sideways, as one would with the geometry library
  alone. Most of that is walking 400 km for every point: on a short line the ratio is far less.
"""

import math
import statistics
import time

import numpy as np
import pandas as pd
import shapely

from model.alignment import Alignment, Element
from model.footprints import overlap_problems, span_frame, unit_frame

SPANS = 9_999
SPAN_M = 40.0
TIMED_IN_LOOPS = 200
RUNS = 5


def long_line():
    """400 km of tangents, spirals and curves, turning left and right by turns."""
    elements = []
    while sum(element.length_m for element in elements) < SPANS * SPAN_M + 100.0:
        turn = "left" if len(elements) % 8 else "right"
        elements += [
            Element("tangent", 300.0),
            Element("spiral", 150.0, math.inf, 900.0, turn),
            Element("curve", 500.0, 900.0, 900.0, turn),
            Element("spiral", 150.0, 900.0, math.inf, turn),
        ]
    return Alignment("main", 0.0, 550_000.0, 4_180_000.0, 35.0, tuple(elements))


def bents_and_units():
    number = np.arange(SPANS + 1)
    bents = pd.DataFrame(
        {
            "structure": "E",
            "bent": number.astype(str),
            "station_m": 10.0 + SPAN_M * number,
            "kind": np.where(number % 3 == 0, "hinge", "bent"),
            "skew_deg": 10.0 * np.sin(number),
            "left_m": 6.0 + np.sin(number / 5.0),
            "right_m": -6.0,
        }
    )
    first = number[:-1:3]
    units = pd.DataFrame(
        {
            "unit": [f"E{index}" for index in first],
            "structure": "E",
            "from_bent": first.astype(str),
            "to_bent": (first + 3).astype(str),
            "heading": "east",
        }
    )
    return bents, units


def seconds(work, *args, runs=RUNS):
    """Median time of some runs, after one to warm up."""
    work(*args)
    times = []
    for _ in range(runs):
        begin = time.perf_counter()
        work(*args)
        times.append(time.perf_counter() - begin)
    return statistics.median(times)


def tell(what, taken, more=""):
    print(f"{what:30}{1e3 * taken:12.1f} ms  {more}".rstrip())


def edges_of(bents, index, vertices):
    """Stations (skew taken as on a tangent) and offsets round one span."""
    bound = bents.iloc[[index, index + 1]]
    station, skew = bound["station_m"].to_numpy(), np.radians(bound["skew_deg"].to_numpy())
    share = np.linspace(0.0, 1.0, vertices)
    stations, offsets = [], []
    for column in ("right_m", "left_m"):
        offset = bound[column].to_numpy()
        ends = station + offset * np.tan(skew)
        stations.append(ends[0] + share * (ends[1] - ends[0]))
        offsets.append(offset[0] + share * (offset[1] - offset[0]))
        share = share[::-1]
    return np.concatenate(stations), np.concatenate(offsets)


def by_formula(line, bents, picked, vertices):
    for index in picked:
        shapely.Polygon(np.stack(line.position(*edges_of(bents, index, vertices)), axis=1))


def by_walking(axis, bents, picked, vertices):
    for index in picked:
        corners = []
        for station, offset in zip(*edges_of(bents, index, vertices), strict=True):
            here, ahead = axis.interpolate(station), axis.interpolate(station + 0.1)
            scale = offset / 0.1
            dx, dy = ahead.x - here.x, ahead.y - here.y
            corners.append((here.x - dy * scale, here.y + dx * scale))
        shapely.Polygon(corners)


def main():
    line = long_line()
    bents, units = bents_and_units()
    args = ({"main": line}, {"E": "main"}, bents, units, "EPSG:26910", 1.0)
    spans = span_frame(*args)
    vertices = round(float(shapely.get_num_coordinates(spans.geometry.to_numpy()).mean()) / 2)
    axis = shapely.LineString(np.stack(line.position(np.arange(0, line.length_m, 2.0)), axis=1))
    picked = np.linspace(0, SPANS - 1, TIMED_IN_LOOPS).astype(int)
    share = SPANS / TIMED_IN_LOOPS

    together = seconds(span_frame, *args)
    print(f"{SPANS} spans, {2 * vertices} vertices a span on average, median of {RUNS} runs")
    tell("all at once (span_frame)", together)
    tell("units joined (unit_frame)", seconds(unit_frame, spans, units))
    tell("overlaps (overlap_problems)", seconds(overlap_problems, spans))
    for name, loop, source in (
        ("formulas, a span at a time", by_formula, line),
        ("walking a drawn line", by_walking, axis),
    ):
        taken = share * seconds(loop, source, bents, picked, vertices, runs=1)
        tell(name, taken, f"scaled, {taken / together:.1f} times as long")
    stations = np.linspace(0.0, line.length_m, 10_000)
    points = line.position(stations, 5.0)
    tell("10,000 stations to points", seconds(line.position, stations, 5.0))
    tell("10,000 points to stations", seconds(line.locate, *points))


if __name__ == "__main__":
    main()
