"""What ``project.toml`` may hold: every table, and every key of it with its meaning."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from model.activities import GRAINS, MEASURES
from model.exchange.toml_file import Key
from model.hold_reasons import HOLD_REASONS
from model.workdays import WEEKDAYS

OffsetRule = Literal["signed", "outward", ""]
OFFSET_RULES: tuple[OffsetRule, ...] = ("signed", "outward")

PROJECT_KEYS: Mapping[str, Key] = {
    "name": Key("text", "shown on screens"),
    "epsg": Key(
        "whole", "EPSG number of the projected coordinate system of the alignment", least=1
    ),
    "units": Key("text", "units shown: us or si", "us", ("us", "si")),
    "timezone": Key("text", "time zone of the site, as America/Los_Angeles"),
    "start": Key("date", "first working day"),
    "offsets": Key("text", "how bents.csv gives deck edges, for all structures", "", OFFSET_RULES),
}
CALENDAR_KEYS: Mapping[str, Key] = {
    "workdays": Key("texts", "days of the week worked", list(WEEKDAYS[:5]), WEEKDAYS),
    "holidays": Key("text", "country or country-subdivision, as US or US-CA", ""),
    "days_off": Key("dates", "further days not worked", []),
    "lost_days_per_month": Key(
        "numbers", "expected working days lost to weather, January … December", None, least=0.0
    ),
}
ACTIVITY_KEYS: Mapping[str, Key] = {
    "key": Key("text", "short key used in files and the log"),
    "name": Key("text", "words shown on screens", ""),
    "grain": Key("text", "what a crew finishes at a time", "unit", GRAINS),
    "measure": Key("text", "what its quantity counts", "none", MEASURES),
    "planned_cycle": Key("number", "days per unit that the plan allows", 3, above=0.0, most=366.0),
    "after": Key("texts", "activities of the same unit that must be finished first", []),
    "lag_days": Key("whole", "further days to wait after them", 0, least=0, most=366),
    "calendar_days": Key("flag", "runs on every calendar day and needs no crew", False),
    "weather": Key("flag", "stops on a lost day", True),
}
HEADING_KEYS: Mapping[str, Key] = {
    "key": Key("text", "short key, as in units.csv"),
    "units": Key("texts", "units in building order"),
    "falsework_sets": Key("whole", "unit-long falsework sets on hand", None, least=1),
    "turnaround_days": Key(
        "whole", "working days from the end of curing until a set is free", 0, least=0, most=366
    ),
}
ALIGNMENT_KEYS: Mapping[str, Key] = {
    "key": Key("text", "short key, as in alignment.csv"),
    "start_station": Key("station", "station of the start point", least=-1e9, most=1e9),
    "easting": Key("number", "of the start point, in the coordinate system", least=-1e9, most=1e9),
    "northing": Key("number", "of the start point, in the coordinate system", least=-1e9, most=1e9),
    "azimuth_deg": Key("number", "clockwise from grid north at the start", least=-360, most=360),
}
STRUCTURE_KEYS: Mapping[str, Key] = {
    "key": Key("text", "short key, as in bents.csv and units.csv"),
    "name": Key("text", "words shown on screens", ""),
    "alignment": Key("text", "the alignment it follows", ""),
    "offsets": Key("text", "how bents.csv gives its deck edges", "", OFFSET_RULES),
}
ENTRY_KEYS: Mapping[str, Key] = {
    "hold_reasons": Key(
        "texts", "what shift entry offers when work is put on hold", list(HOLD_REASONS)
    ),
}
POUR_KEYS: Mapping[str, Key] = {
    "rate": Key(
        "number",
        "concrete placed per hour, in the unit shown (yd³ or m³)",
        None,
        above=0.0,
        most=1000.0,
    ),
    "load": Key("number", "what a truck brings, in the same unit", None, above=0.0, most=30.0),
    "round_trip_minutes": Key(
        "number", "from one loading of a truck to its next one", None, above=0.0, most=1440.0
    ),
    "allowance_percent": Key(
        "number", "ordered beyond what is to be placed", None, least=0.0, most=50.0
    ),
    "start": Key("time", "when the first truck usually discharges", None),
}
PROJECT_TABLES: Mapping[str, Mapping[str, Key]] = {
    "project": PROJECT_KEYS,
    "calendar": CALENDAR_KEYS,
    "activity": ACTIVITY_KEYS,
    "heading": HEADING_KEYS,
    "alignment": ALIGNMENT_KEYS,
    "structure": STRUCTURE_KEYS,
    "entry": ENTRY_KEYS,
    "pour": POUR_KEYS,
}
"""The tables by name, for reading and for the documentation."""
