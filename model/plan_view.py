"""The footprints laid out on a sheet: turned so that they are long across it, in metres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from model.job import Job
from model.units import UnitSystem, shown_length_unit, to_si

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class PlanView:
    """Outlines on a sheet whose origin is the lower left corner of all of them.

    Parameters
    ----------
    outlines
        For every span, in the order of ``Job.spans``, its rings: points in metres, (n, 2).
    width_m, height_m
        What they take up.
    north_deg
        Where grid north points on the sheet, clockwise from up.
    """

    outlines: tuple[tuple[Floats, ...], ...]
    width_m: float
    height_m: float
    north_deg: float


@dataclass(frozen=True, slots=True)
class ScaleBar:
    """A round length to draw beside a map.

    Parameters
    ----------
    length_m
        As it is drawn.
    words
        As it is written.
    """

    length_m: float
    words: str


def plan_view(job: Job) -> PlanView:
    """Lay out the footprints of a job, turned so that their long side lies across the sheet.

    Parameters
    ----------
    job
        Says spans and their coordinate system.

    Returns
    -------
    PlanView
        Turned by as little as it takes, so that north is nearer to up than to down.

    Notes
    -----
    Lengths are in plan, by the coordinate system's own grid.
    """
    spans = job.spans.geometry.to_numpy()
    origin = shapely.get_coordinates(spans).min(axis=0)
    # Near the origin, for millions of metres leave few digits to find a direction by.
    spans = shapely.transform(spans, lambda points: points - origin)
    angle = _long_side_rad(shapely.minimum_rotated_rectangle(shapely.union_all(spans)))
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    metres = float(job.spans.crs.axis_info[0].unit_conversion_factor) if job.spans.crs else 1.0
    rings = [[ring @ turn * metres for ring in _rings(one)] for one in spans]
    every = np.concatenate([ring for one in rings for ring in one])
    low, size = every.min(axis=0), np.ptp(every, axis=0)
    outlines = tuple(tuple(ring - low for ring in one) for one in rings)
    return PlanView(outlines, float(size[0]), float(size[1]), float(np.degrees(angle)))


def scale_bar(width_m: float, system: UnitSystem) -> ScaleBar:
    """Return a round length of about a fifth of a width, in the units shown.

    Parameters
    ----------
    width_m
        Of the whole map.
    system
        ``"us"`` or ``"si"``.

    Examples
    --------
    >>> scale_bar(2680.0, "si").words, scale_bar(2680.0, "us").words
    ('500 m', '1,000 ft')
    """
    unit = shown_length_unit(system)
    about = max(width_m, 1.0) / to_si(1.0, unit) / 5
    power = 10.0 ** np.floor(np.log10(about))
    length = max(step * power for step in (1.0, 2.0, 5.0) if step * power <= about * (1 + 1e-9))
    return ScaleBar(float(to_si(length, unit)), f"{length:,.0f} {unit}")


def _rings(polygon: shapely.Geometry) -> list[Floats]:
    """Return the outer rings of a polygon, or of several in one."""
    parts = [part for part in shapely.get_parts(polygon) if isinstance(part, shapely.Polygon)]
    return [shapely.get_coordinates(part.exterior) for part in parts]


def _long_side_rad(box: shapely.Geometry) -> float:
    """Return the direction of a rectangle's long side, from east, between -90 and 90 degrees."""
    corners = shapely.get_coordinates(box)
    if len(corners) < 3:
        return 0.0
    sides = np.diff(corners[:3], axis=0)
    along = sides[int(np.argmax(np.hypot(sides[:, 0], sides[:, 1])))]
    angle = float(np.arctan2(along[1], along[0]))
    return float((angle + np.pi / 2) % np.pi - np.pi / 2)
