"""``alignment.csv``, ``bents.csv`` and ``units.csv``: the line and what stands on it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import cast

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.alignment import (
    ELEMENT_KINDS,
    Alignment,
    Element,
    Turn,
    element_problems,
    joint_problems,
)
from model.exchange.csv_file import CsvFile, read_csv
from model.exchange.findings import Findings
from model.exchange.project_keys import OffsetRule
from model.exchange.settings import LineStart, Structure
from model.exchange.stationing import full_station, shown_station
from model.problems import errors_only

ALIGNMENT_FILE = "alignment.csv"
BENTS_FILE = "bents.csv"
UNITS_FILE = "units.csv"

ALIGNMENT_COLUMNS = ("alignment", "element", "length", "radius_in", "radius_out", "turn")
BENT_COLUMNS = ("structure", "bent", "station", "kind", "skew_deg", "left_offset", "right_offset")
UNIT_COLUMNS = ("unit", "structure", "from_bent", "to_bent", "heading")
BENT_KINDS = ("abutment", "bent", "hinge")

SAME_PLACE_M = 1e-6

LONGEST_M, FARTHEST_M = 1e6, 1000.0
"""An element longer, or a deck edge farther from the alignment, is a slip of the pen."""


@dataclass(frozen=True)
class BentTable:
    """The bents as ``footprints.span_frame`` takes them, and the row each was read from."""

    frame: pd.DataFrame
    rows: Mapping[tuple[str, str], int]


@dataclass(frozen=True)
class UnitTable:
    """The units as ``footprints.span_frame`` takes them, and the row each was read from."""

    frame: pd.DataFrame
    rows: Mapping[str, int]


def read_alignments(
    path: Path, lines: Sequence[LineStart], metres_per_unit: float, findings: Findings
) -> dict[str, Alignment]:
    """Read ``alignment.csv`` into lines that begin where ``project.toml`` says.

    Parameters
    ----------
    path
        The existing file.
    lines
        Start points.
    metres_per_unit
        Metres in the unit of its lengths.
    findings
        Where everything wrong is noted.

    Returns
    -------
    dict
        Alignments by key; those with an error are left out.
    """
    table = read_csv(path, findings, needed=ALIGNMENT_COLUMNS)
    if table is None:
        return {}
    keys = table.known("alignment", [line.key for line in lines], "Alignment", "project.toml")
    table.texts("element", blank=False, choices=ELEMENT_KINDS)
    elements = _elements(table, metres_per_unit)
    alignments = {}
    for line in lines:
        own = [place for place, key in enumerate(keys) if key == line.key]
        if not own:
            message = f"Alignment {line.key!r} has no element."
            findings.error(message, "Add its elements, one row each.", field="alignment")
            continue
        alignment = _alignment(line, [elements[place] for place in own])
        if alignment is not None:
            rows = [table.rows[place] for place in own]
            findings.add(joint_problems(alignment, rows=rows, metres_per_unit=metres_per_unit))
            alignments[line.key] = alignment
    return alignments


def _elements(table: CsvFile, metres: float) -> list[Element | None]:
    """Return the element of each row; None where it has an error, which is noted."""
    length = table.numbers("length", most=LONGEST_M / metres) * metres
    radius_in, radius_out = (
        table.numbers(column, blank=math.inf) * metres for column in ("radius_in", "radius_out")
    )
    kinds, turns = table.texts("element"), table.texts("turn")
    elements: list[Element | None] = []
    for place, row in enumerate(table.rows):
        kind = next((known for known in ELEMENT_KINDS if known == kinds[place]), None)
        numbers = [float(column[place]) for column in (length, radius_in, radius_out)]
        if kind is None or any(math.isnan(number) for number in numbers):
            elements.append(None)
            continue
        turn = cast(Turn, turns[place])  # any other text is a problem of the element
        element = Element(kind, numbers[0], numbers[1], numbers[2], turn)
        problems = element_problems(element, row=row, metres_per_unit=metres)
        table.findings.add(problems)
        elements.append(None if errors_only(problems) else element)
    return elements


def _alignment(line: LineStart, elements: Sequence[Element | None]) -> Alignment | None:
    sound = tuple(element for element in elements if element is not None)
    start = (line.start_station_m, line.easting_m, line.northing_m, line.azimuth_deg)
    if len(sound) < len(elements) or any(math.isnan(number) for number in start):
        return None
    return Alignment(line.key, *start, sound)


def read_bents(
    path: Path, structures: Sequence[Structure], metres_per_unit: float, findings: Findings
) -> BentTable | None:
    """Read ``bents.csv``.

    Parameters
    ----------
    path
        The existing file.
    structures
        The structures there are.
    metres_per_unit
        Metres in the unit of stations and offsets.
    findings
        Where everything wrong is noted.

    Returns
    -------
    BentTable or None
        Offsets are signed, positive to the left; not-a-number where a cell is none. None where
        the file cannot be read.

    Notes
    -----
    ``left_offset`` and ``right_offset`` are either signed (positive to the left of the
    alignment) or distances outward from it. ``offsets`` in ``project.toml`` says which; where
    it doesn't, the file is asked: with signed offsets left exceeds right in every row, with
    outward ones their sum exceeds 0. Where both hold in all rows they are taken as signed,
    with a warning.
    """
    table = read_csv(path, findings, needed=BENT_COLUMNS)
    if table is None:
        return None
    known = [structure.key for structure in structures]
    keys = table.known("structure", known, "Structure", "project.toml")
    bents = table.texts("bent", blank=False)
    full = full_station(metres_per_unit)
    left, right = (
        table.numbers(
            column, least=-FARTHEST_M / metres_per_unit, most=FARTHEST_M / metres_per_unit
        )
        for column in ("left_offset", "right_offset")
    )
    frame = pd.DataFrame(
        {
            "structure": pd.Series(keys, dtype="str"),
            "bent": pd.Series(bents, dtype="str"),
            "station_m": table.stations("station", full) * metres_per_unit,
            "kind": pd.Series(table.texts("kind", blank=False, choices=BENT_KINDS), dtype="str"),
            "skew_deg": table.numbers("skew_deg", blank=0.0),
            "left_m": left * metres_per_unit,
            "right_m": right * metres_per_unit,
        }
    )
    table.unique(("structure", "bent"), "Give each bent of a structure its own name.")
    _stations_rise(table, frame, full, metres_per_unit)
    _ends(frame, structures, findings)
    _signed_offsets(table, frame, structures)
    rows = dict(zip(zip(keys, bents, strict=True), table.rows, strict=True))
    return BentTable(frame, rows)


def _stations_rise(table: CsvFile, frame: pd.DataFrame, full: float, metres: float) -> None:
    for structure, group in frame.groupby("structure", sort=False):
        stations = group["station_m"].to_numpy()
        for place, (one, other) in enumerate(pairwise(stations), start=1):
            if other > one + SAME_PLACE_M or math.isnan(one) or math.isnan(other):
                continue
            before = group.iloc[place - 1]
            comes = "comes before" if other < one else "is the station of"
            message = (
                f"{shown_station(other / metres, full)} {comes} bent {before['bent']}"
                f" ({shown_station(one / metres, full)})."
            )
            fix = f"Stations must rise along structure {structure}."
            row = table.rows[int(group.index[place])]
            table.findings.error(message, fix, row=row, field="station")


def _ends(frame: pd.DataFrame, structures: Sequence[Structure], findings: Findings) -> None:
    for structure in structures:
        own = frame[frame["structure"] == structure.key]
        if len(own) < 2:
            message = f"Structure {structure.key!r} has {len(own) or 'no'} bent."
            findings.error(message, "Give at least its two ends.", field="structure")


def _signed_offsets(table: CsvFile, frame: pd.DataFrame, structures: Sequence[Structure]) -> None:
    """Turn outward distances into signed offsets in place, and note what can be neither."""
    said = {structure.key: structure.offsets for structure in structures}
    rule = np.array([said.get(key, "") for key in frame["structure"]], dtype=object)
    left, right = frame["left_m"].to_numpy(), frame["right_m"].to_numpy()
    not_signed, not_outward = left <= right, left + right <= 0.0
    unsaid = rule == ""
    if unsaid.any():
        rule[unsaid] = _inferred_rule(table, unsaid, not_signed, not_outward)
    for bad, kind, wrong in (
        (not_signed, "signed", "left is not left of right"),
        (not_outward, "outward", "the two make no width"),
    ):
        for place in np.flatnonzero(bad & (rule == kind) & ~unsaid).tolist():
            message = f"As {kind} offsets, {_pair(table, place)}: {wrong}."
            fix = 'Correct the numbers, or offsets = "signed" | "outward" in project.toml.'
            table.findings.error(message, fix, row=table.rows[place], field="left_offset")
    frame["right_m"] = np.where(rule == "outward", -right, right)


def _inferred_rule(
    table: CsvFile,
    unsaid: NDArray[np.bool_],
    not_signed: NDArray[np.bool_],
    not_outward: NDArray[np.bool_],
) -> OffsetRule:
    """Return how the rows must be meant for which project.toml says nothing."""
    neither = np.flatnonzero(unsaid & not_signed & not_outward).tolist()
    for place in neither:
        message = f"{_pair(table, place)} make no deck, neither signed nor as distances outward."
        fix = "Give signed offsets (left above right, positive left) or two distances outward."
        table.findings.error(message, fix, row=table.rows[place], field="left_offset")
    signed = np.flatnonzero(unsaid & not_outward & ~not_signed).tolist()
    outward = np.flatnonzero(unsaid & not_signed & ~not_outward).tolist()
    if signed and outward:
        message = (
            f"{_pair(table, outward[0])} can only be distances outward, yet row "
            f"{table.rows[signed[0]]} ({_pair(table, signed[0])}) only signed offsets."
        )
        fix = 'Give all rows alike, or say offsets = "signed" | "outward" for each structure.'
        table.findings.error(message, fix, row=table.rows[outward[0]], field="left_offset")
    if outward:
        return "outward"
    if not signed and not neither:
        table.findings.warning(
            "The offsets could be signed or distances outward; they are taken as signed.",
            'Say offsets = "signed" or "outward" under [project] in project.toml.',
            field="left_offset",
        )
    return "signed"


def _pair(table: CsvFile, place: int) -> str:
    left, right = (table.cells[c][place].strip() for c in ("left_offset", "right_offset"))
    return f"left {left} and right {right}"


def read_units(path: Path, structures: Sequence[Structure], findings: Findings) -> UnitTable | None:
    """Read ``units.csv``; None where it cannot be used (which is noted).

    Parameters
    ----------
    path
        The existing file.
    structures
        The structures there are.
    findings
        Where everything wrong is noted.
    """
    table = read_csv(path, findings, needed=UNIT_COLUMNS)
    if table is None:
        return None
    known = [structure.key for structure in structures]
    columns = {
        "unit": table.texts("unit", blank=False),
        "structure": table.known("structure", known, "Structure", "project.toml"),
        "from_bent": table.texts("from_bent", blank=False),
        "to_bent": table.texts("to_bent", blank=False),
        "heading": table.texts("heading", blank=False),
    }
    table.unique(("unit",), "Give each unit its own name.")
    if not len(table):
        findings.error("There is no unit.", "Add a row for each unit.")
        return None
    frame = pd.DataFrame({name: pd.Series(c, dtype="str") for name, c in columns.items()})
    return UnitTable(frame, dict(zip(columns["unit"], table.rows, strict=True)))
