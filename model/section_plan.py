"""Planned quantities of every activity, computed from the typical sections.

Which quantity an activity plans follows from its key and what it measures (``QUANTITY_OF``);
an activity that measures something else has no planned quantity from the section.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.activities import Activity, Measure
from model.section import Floats, Quantities, Solids, TypicalSection, quantities

QUANTITY_OF: Mapping[tuple[str, Measure], str] = {
    ("falsework", "falsework"): "deck_area_m2",
    ("falsework", "area"): "deck_area_m2",
    ("bottom_slab_stems", "concrete"): "first_lift_m3",
    ("deck_forms", "formwork"): "deck_form_m2",
    ("deck_forms", "lumber"): "lumber_m3",
    ("rebar", "steel"): "deck_steel_kg",
    ("deck_pour", "concrete"): "deck_m3",
    ("curing", "area"): "deck_area_m2",
}
"""Field of ``Quantities`` by activity key and measure."""

PLANNED_COLUMNS: tuple[str, ...] = ("unit", "span", "activity", "planned_si", "planned_from")

SAME_PLACE_M = 1e-6


def empty_plan() -> pd.DataFrame:
    """Return planned quantities without rows, with their columns and types."""
    types = dict.fromkeys(PLANNED_COLUMNS, "str") | {"planned_si": "float64"}
    return pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in types.items()})


def solids_of_spans(spans: pd.DataFrame, bents: pd.DataFrame | None) -> Solids:
    """Count caps, diaphragms and flares of each span.

    Parameters
    ----------
    spans
        As ``Job.spans``; grouped by unit and rising along each.
    bents
        ``structure``, ``bent``, ``station_m`` and ``kind``; None for ready-made footprints:
        then a span's end inside its unit is a bent, and the ends of units are hinges.

    Returns
    -------
    Solids
        A bent at the end of a span shares its cap with the spans that meet there; one inside
        a span (which holds a cantilever) is the span's own.
    """
    if bents is None:
        return _solids_without_bents(spans)
    counts = np.zeros((4, len(spans)))
    structures = spans["structure"].to_numpy()
    for structure, own in bents.groupby("structure", sort=False):
        here = np.flatnonzero(structures == structure)
        counts[:, here] = _solids_on_structure(spans.iloc[here], own)
    return Solids(*counts)


def _solids_on_structure(spans: pd.DataFrame, bents: pd.DataFrame) -> Floats:
    bents = bents.sort_values("station_m")
    station_m, kind = bents["station_m"].to_numpy(float), bents["kind"].to_numpy()
    ends = [
        np.searchsorted(station_m, spans[column].to_numpy(float) - SAME_PLACE_M)
        for column in ("from_station_m", "to_station_m")
    ]
    meeting = np.bincount(np.concatenate(ends), minlength=len(bents))
    cap = (kind == "bent") / np.maximum(meeting, 1)
    bents_before = np.concatenate([[0], np.cumsum(kind == "bent")])
    inside = bents_before[ends[1]] - bents_before[ends[0] + 1]
    caps = inside + cap[ends[0]] + cap[ends[1]]
    at_ends = [sum((kind[end] == name) * 1.0 for end in ends) for name in ("hinge", "abutment")]
    flares = 2.0 * inside + sum((kind[end] == "bent") * 1.0 for end in ends)
    return np.array([caps, *at_ends, flares], dtype=np.float64)


def _solids_without_bents(spans: pd.DataFrame) -> Solids:
    unit = spans["unit"].to_numpy()
    same = unit[1:] == unit[:-1]
    inner_ends = np.zeros(len(spans))
    inner_ends[1:] += same
    inner_ends[:-1] += same
    return Solids(inner_ends / 2.0, 2.0 - inner_ends, np.zeros(len(spans)), inner_ends)


def deck_lengths_m(spans: pd.DataFrame, bents: pd.DataFrame | None) -> Floats:
    """Return the length of each span along the middle of its deck [m].

    Parameters
    ----------
    spans
        As ``Job.spans``: ``structure``, ``from_station_m``, ``to_station_m``, ``length_m``,
        ``area_m2``.
    bents
        ``structure``, ``station_m``, ``left_m`` and ``right_m``; None for ready-made
        footprints, whose ``length_m`` is returned.

    Notes
    -----
    Deck area over mean width, which varies evenly from bent to bent. On a curve it differs
    from the length along the alignment, which may lie well outside the deck.
    """
    lengths = spans["length_m"].to_numpy(dtype=np.float64).copy()
    if bents is None:
        return lengths
    structures = spans["structure"].to_numpy()
    for structure, own in bents.sort_values("station_m").groupby("structure", sort=False):
        here = np.flatnonzero(structures == structure)
        station_m = own["station_m"].to_numpy(float)
        width_m = (own["left_m"] - own["right_m"]).to_numpy(float)
        steps_m2 = np.diff(station_m) * (width_m[1:] + width_m[:-1]) / 2.0
        width_before_m2 = np.concatenate([[0.0], np.cumsum(steps_m2)])
        begin_m2, end_m2 = (
            np.interp(spans[column].to_numpy(float)[here], station_m, width_before_m2)
            for column in ("from_station_m", "to_station_m")
        )
        mean_width_m = (end_m2 - begin_m2) / lengths[here]
        lengths[here] = spans["area_m2"].to_numpy(float)[here] / mean_width_m
    return lengths


def planned_from_section(
    spans: pd.DataFrame,
    deck_length_m: Floats,
    solids: Solids,
    section_of_unit: Mapping[str, TypicalSection],
    activities: Sequence[Activity],
) -> pd.DataFrame:
    """Compute what every activity places, from the typical sections.

    Parameters
    ----------
    spans
        As ``Job.spans``: ``unit``, ``span``, ``area_m2``.
    deck_length_m, solids
        Of the same spans.
    section_of_unit
        Units without a section get no rows.
    activities
        One planned quantity each, by ``QUANTITY_OF``.

    Returns
    -------
    DataFrame
        Rows of ``Job.planned`` with ``planned_from`` ``"section"``: a row a span for
        activities finished by the span, a row a unit (blank span) for the others.
    """
    lengths = pd.Series(deck_length_m, index=spans.index)
    computed = _computed(spans.assign(length_m=lengths), solids, section_of_unit)
    planned = [_planned_rows(computed, activity) for activity in activities]
    planned = [rows for rows in planned if len(rows)]
    return pd.concat(planned, ignore_index=True) if planned else empty_plan()


def unplanned(activities: Iterable[Activity]) -> tuple[Activity, ...]:
    """Return the activities that measure something no section gives."""
    return tuple(
        activity
        for activity in activities
        if activity.measure != "none" and (activity.key, activity.measure) not in QUANTITY_OF
    )


def _computed(
    spans: pd.DataFrame, solids: Solids, section_of_unit: Mapping[str, TypicalSection]
) -> pd.DataFrame:
    """Return one row a span that has a section, with a column for each quantity."""
    section_of_span = [section_of_unit.get(unit) for unit in spans["unit"]]
    frames = []
    for section in dict.fromkeys(section_of_span):
        if section is None:
            continue
        rows = np.flatnonzero([own is section or own == section for own in section_of_span])
        frames.append(_of_section(spans, solids, section, rows))
    if not frames:
        return pd.DataFrame(columns=["unit", "span"])
    return pd.concat(frames).sort_index()


def _of_section(
    spans: pd.DataFrame, solids: Solids, section: TypicalSection, rows: NDArray[np.intp]
) -> pd.DataFrame:
    own = spans.iloc[rows]
    found: Quantities = quantities(
        section, own["length_m"].to_numpy(), own["area_m2"].to_numpy(), solids.take(rows)
    )
    columns = {name: getattr(found, name) for name in dict.fromkeys(QUANTITY_OF.values())}
    return pd.DataFrame(
        {"unit": own["unit"].to_numpy(), "span": own["span"].to_numpy(), **columns}, index=rows
    )


def _planned_rows(computed: pd.DataFrame, activity: Activity) -> pd.DataFrame:
    name = QUANTITY_OF.get((activity.key, activity.measure))
    if name is None or computed.empty:
        return empty_plan()
    rows = computed[["unit", "span", name]].rename(columns={name: "planned_si"})
    rows = rows[rows["planned_si"].notna()]
    if activity.grain == "unit":
        summed = rows.groupby("unit", sort=False)["planned_si"].sum()
        rows = summed.reset_index().assign(span="")
    return rows.assign(activity=activity.key, planned_from="section")[list(PLANNED_COLUMNS)]
