"""The invented tidal flat around the demo's viaduct: land, flat, channels, levee road.

``context.gpkg`` is written in the project's CRS; ``python -m demo_project`` writes it anew. Shapes
are drawn in feet on a frame whose x runs from one end of the alignment to the other.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from demo_project import FOLDER
from demo_project.layout import ALIGNMENT
from model.alignment import Alignment, Element
from model.units import from_si, to_si

FILE = "context.gpkg"
LAYERS = ("ground", "water", "roads")
SEED = 27

Points = NDArray[np.float64]
Named = tuple[str, str, shapely.Geometry]
"""Name, kind and shape of one thing in the picture."""

HALF_WIDTH_FT, BEYOND_FT = 4200.0, 2600.0
"""The picture reaches so far to either side of the line and beyond its ends."""

WEST_SHORE_FT, EAST_SHORE_FT = 1000.0, -1000.0
"""Shores from the two ends of the alignment."""

STEP_FT = 80.0
SLOUGH_STATION_FT, SLOUGH_WIDTH_FT, SLOUGH_SKEW_DEG = 3716.0, 190.0, 22.0
GUT_STATION_FT, GUT_WIDTH_FT, GUT_SKEW_DEG = 6500.0, 60.0, 14.0
LEVEE_INLAND_FT = 260.0
RAMP_GORE_FT, RAMP_OFFSET_FT = 9700.0, -66.0


@dataclass(frozen=True)
class Frame:
    """A frame in feet: x from the alignment's start towards its end, y to the left.

    Parameters
    ----------
    line
        The alignment, in metres.
    """

    line: Alignment

    @property
    def origin_ft(self) -> Points:
        """Start of the alignment in the CRS, shape (2,)."""
        return self.on_line(from_si(self.line.start_station_m, "ft_us"))

    @property
    def along(self) -> Points:
        """Unit vector from the alignment's start to its end, shape (2,)."""
        chord = self.on_line(from_si(self.line.end_station_m, "ft_us")) - self.origin_ft
        return np.asarray(chord / np.hypot(*chord))

    @property
    def length_ft(self) -> float:
        """Distance from the alignment's start to its end."""
        end = self.on_line(from_si(self.line.end_station_m, "ft_us"))
        return float(np.hypot(*(end - self.origin_ft)))

    def on_line(self, station_ft: float, offset_ft: float = 0.0) -> Points:
        """Return a point of the line in the CRS, shape (2,)."""
        station_m, offset_m = to_si(station_ft, "ft_us"), to_si(offset_ft, "ft_us")
        easting_m, northing_m = self.line.position(np.array([station_m]), offset_m)
        return np.array([float(easting_m[0]), float(northing_m[0])]) / to_si(1.0, "ft_us")

    def to_crs(self, points: Points) -> Points:
        """Turn points of the frame, (n, 2), into the CRS."""
        east, north = self.along
        return np.asarray(self.origin_ft + points @ np.array([[east, north], [-north, east]]))

    def from_crs(self, points: Points) -> Points:
        """Turn points of the CRS, (n, 2), into the frame."""
        east, north = self.along
        turned = np.array([[east, -north], [north, east]])
        return np.asarray((points - self.origin_ft) @ turned)


def context_layers(frame: Frame) -> dict[str, gpd.GeoDataFrame]:
    """Draw the layers of the background.

    Parameters
    ----------
    frame
        Laid on the alignment.

    Returns
    -------
    dict
        By layer name; columns ``name``, ``kind`` and geometry, without a CRS.
    """
    rng = np.random.default_rng(SEED)
    y = np.arange(-HALF_WIDTH_FT, HALF_WIDTH_FT + STEP_FT, STEP_FT)
    west = np.column_stack([WEST_SHORE_FT + _wobble(y, 130.0, rng), y])
    east = np.column_stack([frame.length_ft + EAST_SHORE_FT + _wobble(y, 150.0, rng), y])
    slough = _channel(frame, SLOUGH_STATION_FT, SLOUGH_SKEW_DEG, SLOUGH_WIDTH_FT, rng)
    gut = _channel(frame, GUT_STATION_FT, GUT_SKEW_DEG, GUT_WIDTH_FT, rng)
    flat = shapely.Polygon([*west, *east[::-1]])
    land = {"west": _land(west, -BEYOND_FT), "east": _land(east, frame.length_ft + BEYOND_FT)}
    ground: list[Named] = [
        ("Oswind Flats", "tidal flat", flat),
        ("West shore", "land", land["west"]),
        ("East shore", "land", land["east"]),
    ]
    water: list[Named] = [
        ("Quillet Slough", "channel", shapely.intersection(slough, flat)),
        ("Teal Gut", "channel", shapely.intersection(gut, flat)),
    ]
    tables = {"ground": ground, "water": water, "roads": _roads(frame, west, east)}
    return {name: _table(frame, rows) for name, rows in tables.items()}


def _table(frame: Frame, rows: list[Named]) -> gpd.GeoDataFrame:
    """Return named shapes in the CRS, rounded to a tenth of a foot."""
    names, kinds, shapes = zip(*rows, strict=True)
    moved = [shapely.transform(shape, frame.to_crs) for shape in shapes]
    geometry = shapely.set_precision(moved, 0.1)
    return gpd.GeoDataFrame({"name": names, "kind": kinds}, geometry=geometry)


def _wobble(along_ft: Points, size_ft: float, rng: np.random.Generator) -> Points:
    """Return a smooth wandering of about ``size_ft`` to either side."""
    waves = rng.uniform(1100.0, 4200.0, 5)
    phases = rng.uniform(0.0, 2.0 * math.pi, 5)
    weights = size_ft * rng.uniform(0.2, 0.6, 5)
    angles = 2.0 * math.pi * along_ft[:, None] / waves + phases
    return np.asarray((weights * np.sin(angles)).sum(axis=1))


def _channel(
    frame: Frame, station_ft: float, skew_deg: float, width_ft: float, rng: np.random.Generator
) -> shapely.Geometry:
    """Draw a channel that crosses the line straight and skewed, and wanders away from it."""
    heading = float(frame.line.heading_rad(np.array([to_si(station_ft, "ft_us")]))[0])
    stream = heading + math.pi / 2 - math.radians(skew_deg)
    run = np.arange(-1.4 * HALF_WIDTH_FT, 1.4 * HALF_WIDTH_FT, STEP_FT)
    # Straight under the decks, then wider and wider bends.
    aside = _wobble(run, 260.0, rng) * np.clip((np.abs(run) - 200.0) / 1500.0, 0.0, 1.0)
    unit, square = (np.array([math.cos(a), math.sin(a)]) for a in (stream, stream + math.pi / 2))
    centre = frame.on_line(station_ft) + run[:, None] * unit + aside[:, None] * square
    return shapely.LineString(frame.from_crs(centre)).buffer(width_ft / 2, quad_segs=3)


def _land(shore: Points, far_x_ft: float) -> shapely.Geometry:
    """Return the land behind a shore, out to ``far_x_ft``."""
    corners = [(far_x_ft, shore[-1, 1]), (far_x_ft, shore[0, 1])]
    return shapely.Polygon([*map(tuple, shore), *corners])


def _roads(frame: Frame, west: Points, east: Points) -> list[Named]:
    """Draw the levee roads along both shores, the road on the line's ends, and the ramp."""
    west_levee = west - np.array([LEVEE_INLAND_FT, 0.0])
    east_levee = east + np.array([LEVEE_INLAND_FT + 500.0, 0.0])
    start, end = (
        from_si(s, "ft_us") for s in (frame.line.start_station_m, frame.line.end_station_m)
    )
    west_road = [frame.on_line(station) for station in (start - BEYOND_FT, 990.0)]
    east_road = [frame.on_line(station) for station in (9800.0, end + BEYOND_FT)]
    ramp = [
        frame.on_line(RAMP_GORE_FT + run, RAMP_OFFSET_FT - run**2 / 1100.0)
        for run in range(100, 500, 50)
    ]
    gore = frame.from_crs(np.array(ramp))
    landing = east_levee[np.argmin(np.abs(east_levee[:, 1] - (gore[-1, 1] - 260.0)))]
    return [
        ("Marrowby Levee Road", "levee road", shapely.LineString(west_levee)),
        ("Tarn Levee Road", "levee road", shapely.LineString(east_levee)),
        ("West approach", "road", shapely.LineString(frame.from_crs(np.array(west_road)))),
        ("East approach", "road", shapely.LineString(frame.from_crs(np.array(east_road)))),
        ("Hethersand Ramp", "ramp", shapely.LineString([*gore, landing])),
    ]


def demo_alignment(folder: Path = FOLDER) -> Alignment:
    """Return the demo's alignment, with the start point of its ``project.toml``."""
    start = tomllib.loads((folder / "project.toml").read_text(encoding="utf-8"))["alignment"][0]
    elements = tuple(
        Element(
            kind,
            to_si(length, "ft_us"),
            to_si(radius_in or math.inf, "ft_us"),
            to_si(radius_out or math.inf, "ft_us"),
            turn,
        )
        for kind, length, radius_in, radius_out, turn in ALIGNMENT
    )
    station, easting, northing = (
        to_si(float(start[key]), "ft_us") for key in ("start_station", "easting", "northing")
    )
    return Alignment(start["key"], station, easting, northing, start["azimuth_deg"], elements)


def write_context(folder: Path = FOLDER) -> Path:
    """Write ``context.gpkg`` to ``folder`` and return it."""
    settings = tomllib.loads((folder / "project.toml").read_text(encoding="utf-8"))
    file = folder / FILE
    file.unlink(missing_ok=True)
    for name, layer in context_layers(Frame(demo_alignment(folder))).items():
        layer.set_crs(epsg=settings["project"]["epsg"]).to_file(file, layer=name, driver="GPKG")
    return file
