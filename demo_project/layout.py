"""The tables of the demo folder: alignment, bents, units, schedule quantities, baseline.

``python -m demo_project`` writes them anew; the same tables come out each time. Lengths
and stations are US survey feet, as the folder's CRS says. Everything is invented.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from demo_project import FOLDER
from model.alignment import ElementKind, Turn

FIRST_STATION_FT = 1000.0
SPANS_OF_UNITS = (3, 4, 3, 2, 3, 3, 4, 2, 3) * 3
"""Spans of each of the 27 units of a structure, west to east: 81 spans."""

HINGE_PAST_BENT = 0.2
"""Hinges lie a fifth of the span past a bent, where little moment is left."""

INNER_EDGE_FT, OUTER_EDGE_FT = 10.0, 50.0
RAMP_FROM_FT, RAMP_TO_FT, RAMP_WIDENING_FT = 7200.0, 8600.0, 24.0
"""The eastbound deck widens on its outer side towards the ramp on the east shore."""

SLOUGH_SKEW_DEG = {23: 8.0, 24: 16.0, 25: 22.0, 26: 22.0, 27: 22.0, 28: 16.0, 29: 8.0}
"""Bents near the slough are turned to stand along its stream."""

SLOUGH_SPANS = (25, 26)
SLOUGH_SPAN_FT = 126.0
USUAL_SPANS_FT = (108.0, 110.0, 106.0, 108.0, 104.0, 112.0)

SCHEDULED_UNITS = ("E01", "E02", "E03", "W01", "W02")
SCHEDULE = (
    ("bottom_slab_stems", 600.0 / 13_000.0, 5, "yd3"),
    ("rebar", 63_000.0 / 13_000.0, 100, "lb"),
    ("deck_pour", 300.0 / 13_000.0, 1, "yd3"),
)
"""Activity, planned per ft² of deck, rounded to, unit; common practice, no source."""

HEADINGS = {"E": ("E_from_west", "E_from_east"), "W": ("W_from_west", "W_from_east")}
UNITS_FROM_WEST = 14

ALIGNMENT: tuple[tuple[ElementKind, float, float | None, float | None, Turn], ...] = (
    ("tangent", 1500.0, None, None, ""),
    ("spiral", 300.0, None, 3200.0, "right"),
    ("curve", 1900.0, 3200.0, 3200.0, "right"),
    ("spiral", 300.0, 3200.0, None, "right"),
    ("tangent", 900.0, None, None, ""),
    ("spiral", 300.0, None, 4000.0, "left"),
    ("curve", 2300.0, 4000.0, 4000.0, "left"),
    ("spiral", 300.0, 4000.0, None, "left"),
    ("tangent", 2600.0, None, None, ""),
)


@dataclass(frozen=True, slots=True)
class Support:
    """One bent, abutment or hinge line of a structure (stations in ft)."""

    bent: str
    station_ft: float
    kind: str
    skew_deg: float


def alignment_table() -> pd.DataFrame:
    """Return ``alignment.csv``: an S-curve of two circular curves between spirals."""
    rows = [
        {
            "alignment": "main",
            "element": element,
            "length": length,
            "radius_in": radius_in,
            "radius_out": radius_out,
            "turn": turn,
        }
        for element, length, radius_in, radius_out, turn in ALIGNMENT
    ]
    return pd.DataFrame(rows)


def span_lengths_ft(structure: str) -> list[float]:
    """Return the 81 spans of a structure from west to east (ft)."""
    shift = 0 if structure == "E" else 3
    return [
        SLOUGH_SPAN_FT if span in SLOUGH_SPANS else USUAL_SPANS_FT[(span + shift) % 6]
        for span in range(1, sum(SPANS_OF_UNITS) + 1)
    ]


def supports(structure: str) -> list[Support]:
    """Return the bents and hinges of a structure, stations rising.

    Notes
    -----
    Bent ``n`` begins span ``n``. A unit of n spans ends at the hinge in the span after them, so
    its short cantilever belongs to its last span.
    """
    spans = span_lengths_ft(structure)
    stations = [FIRST_STATION_FT]
    for length in spans:
        stations.append(stations[-1] + length)
    skews = [SLOUGH_SKEW_DEG.get(number, 0.0) for number in range(1, len(stations) + 1)]
    last = len(stations)
    found = [
        Support(str(number), station, "abutment" if number in (1, last) else "bent", skew)
        for number, station, skew in zip(range(1, last + 1), stations, skews, strict=True)
    ]
    for unit, bent in enumerate(_bents_before_hinges(), start=1):
        here, beyond = found[bent - 1], found[bent]
        station = here.station_ft + HINGE_PAST_BENT * (beyond.station_ft - here.station_ft)
        skew = here.skew_deg + HINGE_PAST_BENT * (beyond.skew_deg - here.skew_deg)
        found.append(Support(f"H{unit}", station, "hinge", skew))
    return sorted(found, key=lambda support: support.station_ft)


def _bents_before_hinges() -> list[int]:
    """Return the number of the bent west of each hinge."""
    bents, bent = [], 1
    for spans in SPANS_OF_UNITS[:-1]:
        bent += spans
        bents.append(bent)
    return bents


def deck_edges_ft(structure: str, station_ft: float) -> tuple[float, float]:
    """Return left and right deck edge from the alignment, positive to the left (ft)."""
    if structure == "W":
        return OUTER_EDGE_FT, INNER_EDGE_FT
    along = (station_ft - RAMP_FROM_FT) / (RAMP_TO_FT - RAMP_FROM_FT)
    return -INNER_EDGE_FT, -OUTER_EDGE_FT - RAMP_WIDENING_FT * min(max(along, 0.0), 1.0)


def bents_table() -> pd.DataFrame:
    """Return ``bents.csv``: both structures, with skew and signed deck edges."""
    rows = []
    for structure in HEADINGS:
        for support in supports(structure):
            left, right = deck_edges_ft(structure, support.station_ft)
            rows.append(
                {
                    "structure": structure,
                    "bent": support.bent,
                    "station": round(support.station_ft, 2),
                    "kind": support.kind,
                    "skew_deg": round(support.skew_deg, 2),
                    "left_offset": round(left, 2),
                    "right_offset": round(right, 2),
                }
            )
    return pd.DataFrame(rows)


def units_table() -> pd.DataFrame:
    """Return ``units.csv``: 27 units a structure, numbered from the west shore."""
    count = len(SPANS_OF_UNITS)
    rows = []
    for structure, (from_west, from_east) in HEADINGS.items():
        for number in range(1, count + 1):
            rows.append(
                {
                    "unit": f"{structure}{number:02d}",
                    "structure": structure,
                    "from_bent": "1" if number == 1 else f"H{number - 1}",
                    "to_bent": str(sum(SPANS_OF_UNITS) + 1) if number == count else f"H{number}",
                    "heading": from_west if number <= UNITS_FROM_WEST else from_east,
                }
            )
    return pd.DataFrame(rows)


def quantities_table() -> pd.DataFrame:
    """Return ``quantities.csv``: the first units have a schedule, the others the section."""
    bents = bents_table()
    station_ft = dict(
        zip(zip(bents["structure"], bents["bent"], strict=True), bents["station"], strict=True)
    )
    units = units_table()
    rows = []
    for unit, structure, first, last in zip(
        *(units[column] for column in ("unit", "structure", "from_bent", "to_bent")), strict=True
    ):
        if unit not in SCHEDULED_UNITS:
            continue
        length_ft = station_ft[structure, last] - station_ft[structure, first]
        for activity, per_ft2, step, measure_unit in SCHEDULE:
            amount = length_ft * (OUTER_EDGE_FT - INNER_EDGE_FT) * per_ft2
            rows.append(
                {
                    "unit": unit,
                    "span": "",
                    "activity": activity,
                    "planned": step * round(amount / step),
                    "measure_unit": measure_unit,
                }
            )
    return pd.DataFrame(rows)


def building_order() -> dict[str, list[str]]:
    """Return the units of each heading in the order they are built."""
    table = units_table()
    order: dict[str, list[str]] = {}
    for unit, heading in zip(table["unit"], table["heading"], strict=True):
        order.setdefault(str(heading), []).append(str(unit))
    return {key: units[::-1] if key.endswith("east") else units for key, units in order.items()}


def write_table(table: pd.DataFrame, file: Path) -> None:
    """Write one CSV file of the folder; whole numbers lose their ``.0``."""
    table.to_csv(file, index=False, float_format="%.10g", lineterminator="\n")


def write_tables(folder: Path = FOLDER) -> list[Path]:
    """Write alignment, bents, units and quantities to ``folder`` and return the files."""
    tables = {
        "alignment.csv": alignment_table(),
        "bents.csv": bents_table(),
        "units.csv": units_table(),
        "quantities.csv": quantities_table(),
    }
    folder.mkdir(parents=True, exist_ok=True)
    for name, table in tables.items():
        write_table(table, folder / name)
    return [folder / name for name in tables]
