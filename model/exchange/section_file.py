"""``section.toml``: typical sections by structure or unit (keys: see ``model.section``)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd

from model.exchange.findings import Findings, listed, nearest
from model.exchange.toml_file import Key, Table, TomlFile, read_toml
from model.section import (
    LUMBER_M,
    Floats,
    Solids,
    TypicalSection,
    section_faults,
    span_faults,
    width_faults,
)
from model.units import si_per

FILE = "section.toml"

LENGTH_UNITS: Mapping[str, float] = {
    "ft": si_per("ft"),
    "ft_us": si_per("ft_us"),
    "in": si_per("ft") / 12.0,
    "m": 1.0,
    "mm": 0.001,
}
LONGEST = 1e5
"""A length above this is a slip of the pen in any unit: 100 m in millimetres."""

_STEEL_KEYS: Mapping[str, tuple[str, float]] = {
    "deck_steel_kg_per_m3": ("deck_steel_kg_per_m3", 1.0),
    "deck_steel_kg_per_m2": ("deck_steel_kg_per_m2", 1.0),
    "deck_steel_lb_per_yd3": ("deck_steel_kg_per_m3", si_per("lb") / si_per("yd3")),
    "deck_steel_lb_per_ft2": ("deck_steel_kg_per_m2", si_per("lb") / si_per("ft2")),
}
_LUMBER_KEYS: Mapping[str, float] = {
    "lumber_m3_per_m2": 1.0,
    "lumber_board_ft_per_ft2": si_per("board_ft") / si_per("ft2"),
}


def _length(means: str, *, zero: bool = False) -> Key:
    """Return a length that may be left out and then is 0, or one that must be given."""
    if zero:
        return Key("number", means, None, least=0.0, most=LONGEST)
    return Key("number", means, above=0.0, most=LONGEST)


LENGTH_KEYS: Mapping[str, Key] = {
    "depth": _length("top of deck to soffit"),
    "deck_thickness": _length("deck between stems"),
    "overhang_length": _length("deck edge to the exterior stem's face"),
    "overhang_edge_thickness": _length("at the deck edge"),
    "overhang_root_thickness": _length("at the exterior stem's face"),
    "stem_thickness": _length("interior stems"),
    "exterior_stem_thickness": Key(
        "number", "exterior stems, measured level", None, above=0.0, most=LONGEST
    ),
    "bottom_slab_thickness": _length("bottom slab between flares"),
    "bottom_slab_at_bent": _length("bottom slab at the face of a bent cap", zero=True),
    "bottom_slab_flare": _length("length of the flare", zero=True),
    "bent_cap_length": _length("solid part over a bent", zero=True),
    "hinge_diaphragm_length": _length("solid part on each side of a hinge", zero=True),
    "abutment_diaphragm_length": _length("solid part at an abutment", zero=True),
}
SECTION_KEYS: Mapping[str, Key] = {
    "name": Key("text", "what it is called in messages", ""),
    "units": Key("texts", "units it is for", []),
    "structures": Key("texts", "structures it is for", []),
    "length_unit": Key("text", "unit of its lengths", "", tuple(LENGTH_UNITS)),
    **LENGTH_KEYS,
    "stems": Key("whole", "stems, exterior ones included", least=2, most=100),
    "exterior_stem_slope": Key("number", "lean of the exterior face", 0, least=0.0, most=5.0),
    "overhang_joint": Key("text", "joint under the overhang", "stem", ("stem", "level")),
    **{key: Key("number", "deck-form lumber", None, least=0.0) for key in _LUMBER_KEYS},
    **{key: Key("number", "deck reinforcement", None, least=0.0) for key in _STEEL_KEYS},
}


@dataclass(frozen=True)
class Sections:
    """The sections of a folder, and which unit has which.

    Parameters
    ----------
    toml
        The file, for the lines of later messages.
    sections
        In the order of the file; None where one has an error.
    number_of_unit
        Place of each unit's section in ``sections``.
    """

    toml: TomlFile
    sections: tuple[TypicalSection | None, ...]
    number_of_unit: Mapping[str, int]

    def of_unit(self) -> dict[str, TypicalSection]:
        """Return the section of each unit that has one."""
        found = {unit: self.sections[number] for unit, number in self.number_of_unit.items()}
        return {unit: section for unit, section in found.items() if section is not None}


def read_sections(
    path: Path, units: pd.DataFrame | None, metres_per_unit: float, findings: Findings
) -> Sections | None:
    """Read ``section.toml``; None where nothing of it can be read.

    Parameters
    ----------
    path
        The existing file.
    units
        ``unit`` and ``structure``; None where they are not known.
    metres_per_unit
        Metres in the unit of the coordinate system, for sections that name no other.
    findings
        Where everything wrong is noted.
    """
    toml = read_toml(path, findings)
    if toml is None:
        return None
    toml.only_tables({"section": None})
    tables = toml.tables("section", SECTION_KEYS)
    if not tables:
        toml.error("There is no section.", "Add a [[section]], or remove the file.", "section")
    sections = tuple(_section(toml, n, table, metres_per_unit) for n, table in enumerate(tables))
    assigned = {} if units is None else _assigned(toml, tables, units)
    return Sections(toml, sections, assigned)


def _section(toml: TomlFile, number: int, table: Table, metres: float) -> TypicalSection | None:
    before = toml.findings.error_count()
    per_unit = LENGTH_UNITS.get(table["length_unit"], metres)
    lengths = {key: None if table[key] is None else table[key] * per_unit for key in LENGTH_KEYS}
    lengths["exterior_stem_thickness"] = (
        lengths["exterior_stem_thickness"] or lengths["stem_thickness"]
    )
    lengths["bottom_slab_at_bent"] = (
        lengths["bottom_slab_at_bent"] or lengths["bottom_slab_thickness"]
    )
    lumber = _one_of(toml, number, table, _LUMBER_KEYS)
    steel = _one_of(toml, number, table, _STEEL_KEYS)
    if toml.findings.error_count() > before:
        return None
    values: Table = {f"{key}_m": value or 0.0 for key, value in lengths.items()}
    for key in ("stems", "exterior_stem_slope", "overhang_joint"):
        values[key] = table[key]
    values["lumber_m"] = table[lumber] * _LUMBER_KEYS[lumber] if lumber else LUMBER_M
    if steel:
        field, si_per_unit = _STEEL_KEYS[steel]
        values[field] = table[steel] * si_per_unit
    section = TypicalSection(**values)
    for fault in section_faults(section):
        toml.error(fault.message, fault.fix, "section", number, fault.key)
    return section if toml.findings.error_count() == before else None


def _one_of(toml: TomlFile, number: int, table: Table, keys: Mapping[str, object]) -> str:
    """Return the one of several keys that is given; blank if none is."""
    given = [key for key in keys if table[key] is not None]
    if len(given) > 1:
        message = f"{' and '.join(given)} say the same thing twice."
        toml.error(message, "Keep one of them.", "section", number, given[1])
    return given[0] if given else ""


def _assigned(toml: TomlFile, tables: list[Table], units: pd.DataFrame) -> dict[str, int]:
    """Return the place of each unit's section: its own, its structure's, or the general one."""
    of_structure = _claims(toml, tables, "structures", units["structure"])
    of_unit = _claims(toml, tables, "units", units["unit"])
    general = [n for n, t in enumerate(tables) if not t["units"] and not t["structures"]]
    for number in general[1:]:
        message = "Two sections are for all units that have none of their own."
        toml.error(message, "Name the units or structures of one.", "section", number)
    fallback = general[0] if general else None
    assigned = {}
    for unit, structure in zip(units["unit"], units["structure"], strict=True):
        chosen = of_unit.get(unit, of_structure.get(structure, fallback))
        if chosen is not None:
            assigned[unit] = chosen
    return assigned


def _claims(toml: TomlFile, tables: list[Table], key: str, known: pd.Series) -> dict[str, int]:
    """Return which section names each unit (or structure); note unknown and repeated ones."""
    names = list(dict.fromkeys(known))
    claimed: dict[str, int] = {}
    for number, table in enumerate(tables):
        for name in table[key]:
            if name not in names:
                message = f"{name!r} is not among the {key}, which are {listed(names)}."
                fix = nearest(name, names) or "Correct it, or take it out."
                toml.error(message, fix, "section", number, key)
            elif name in claimed:
                message = (
                    f"{name!r} already has a section (row {toml.row('section', claimed[name])})."
                )
                toml.error(message, "Keep it in one of them.", "section", number, key)
            claimed.setdefault(name, number)
    return claimed


def check_sections(
    sections: Sections,
    spans: gpd.GeoDataFrame,
    deck_length_m: Floats,
    solids: Solids,
    bents: pd.DataFrame | None,
) -> None:
    """Note sections that don't fit the spans they are for, and units without one.

    Parameters
    ----------
    sections
        As read.
    spans, deck_length_m, solids
        The job's spans, their lengths along the deck, and what fills them.
    bents
        ``structure``, ``station_m``, ``left_m`` and ``right_m``; None for ready-made
        footprints, whose mean width is then used.
    """
    toml = sections.toml
    number_of_span = spans["unit"].map(dict(sections.number_of_unit)).to_numpy(dtype=float)
    narrowest = _narrowest_m(spans, deck_length_m, bents)
    for number, section in enumerate(sections.sections):
        rows = np.flatnonzero(number_of_span == number)
        if section is None or not rows.size:
            continue
        for fault in width_faults(section, float(narrowest[rows].min())):
            toml.error(fault.message, fault.fix, "section", number, fault.key)
        for place in span_faults(section, deck_length_m[rows], solids.take(rows)):
            span = spans.iloc[rows[place]]
            message = f"Caps, diaphragms and flares fill span {span['span']} of {span['unit']}."
            toml.error(message, "Shorten them.", "section", number, "bent_cap_length")
    without = [unit for unit in dict.fromkeys(spans["unit"]) if unit not in sections.number_of_unit]
    if without:
        message = f"These units have no section: {listed(without)}."
        fix = "Add them to a section, or one without units and structures for all others."
        toml.warning(message, fix, "section", key="units")


def _narrowest_m(
    spans: gpd.GeoDataFrame, deck_length_m: Floats, bents: pd.DataFrame | None
) -> Floats:
    """Return the narrowest deck of each span, square to the line [m]."""
    mean: Floats = spans["area_m2"].to_numpy(float) / deck_length_m
    if bents is None:
        return mean
    width = dict(
        zip(
            zip(bents["structure"], bents["bent"], strict=True),
            bents["left_m"] - bents["right_m"],
            strict=True,
        )
    )
    ends = [
        [width.get(key, np.inf) for key in zip(spans["structure"], spans[column], strict=True)]
        for column in ("from_bent", "to_bent")
    ]
    narrowest: Floats = np.minimum(mean, np.array(ends).min(axis=0))
    return narrowest
