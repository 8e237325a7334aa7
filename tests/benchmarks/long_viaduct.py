"""An invented viaduct of any length for the benchmarks: two structures along a weaving line."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

SPAN_M = 40.0
HALF_DECK_M = 6.5
APART_M = 32.0


def long_spans(n_spans: int, corners: int = 16, spans_per_unit: int = 3) -> gpd.GeoDataFrame:
    """Spans of two structures side by side, with the columns of ``Job.spans`` the map needs."""
    per_structure = n_spans // 2
    pieces = [_structure(k, per_structure, corners, spans_per_unit) for k in range(2)]
    return gpd.GeoDataFrame(pd.concat(pieces, ignore_index=True), crs=26910)


def _structure(k: int, n: int, corners: int, spans_per_unit: int) -> gpd.GeoDataFrame:
    share = np.linspace(0.0, 1.0, corners // 2)
    along = (np.arange(n)[:, None] + share) * SPAN_M
    middle = (0.5 - k) * APART_M
    line = _Line(n * SPAN_M)
    left = line.at(along, middle + HALF_DECK_M)
    right = line.at(along[:, ::-1], middle - HALF_DECK_M)
    outline = shapely.polygons(np.concatenate([left, right], axis=1))
    unit = np.arange(n) // spans_per_unit
    frame = pd.DataFrame(
        {
            "unit": [f"{'EW'[k]}{u + 1:03d}" for u in unit],
            "span": (np.arange(n) % spans_per_unit + 1).astype(str),
            "structure": "EW"[k],
            "heading": [f"{('east', 'west')[k]}_{1 + 2 * i // n}" for i in range(n)],
            "from_station_m": 1000 + np.arange(n) * SPAN_M,
            "to_station_m": 1000 + (np.arange(n) + 1) * SPAN_M,
        }
    )
    return gpd.GeoDataFrame(frame, geometry=outline, crs=26910)


class _Line:
    """A line whose direction sways to and fro."""

    def __init__(self, length_m: float) -> None:
        self.s = np.linspace(0.0, length_m, 20_001)
        self.turn = np.radians(60) + 0.5 * np.sin(self.s / length_m * 9)
        step = np.diff(self.s)
        middle = (self.turn[1:] + self.turn[:-1]) / 2
        self.x = 550_000 + np.concatenate([[0.0], np.cumsum(np.cos(middle) * step)])
        self.y = 4_180_000 + np.concatenate([[0.0], np.cumsum(np.sin(middle) * step)])

    def at(self, along: np.ndarray, offset: float) -> np.ndarray:
        turn = np.interp(along, self.s, self.turn)
        x = np.interp(along, self.s, self.x) - offset * np.sin(turn)
        y = np.interp(along, self.s, self.y) + offset * np.cos(turn)
        return np.stack([x, y], axis=-1)


def random_changes(
    n_spans: int, n_activities: int, n_days: int, total: int, seed: int = 1
) -> dict[str, np.ndarray]:
    """Changes without any order in them: the worst case for drawing and for compression."""
    draw = np.random.default_rng(seed)
    return {
        "day": np.sort(draw.integers(0, n_days, total)),
        "span": draw.integers(0, n_spans, total),
        "activity": draw.integers(0, n_activities, total),
        "status": draw.integers(0, 4, total),
    }
