"""What the API says of the plan and of cases; a part of ``openapi``."""

from __future__ import annotations

from dashboard.doors.openapi_words import (
    DAY,
    REFUSALS,
    TEXT,
    YES_OR_NO,
    Schema,
    answer,
    list_of,
    record,
    ref,
)
from dashboard.doors.plan_api import BASELINE_PATH, CALENDAR_PATH, REVIEW_PATH
from dashboard.doors.whatif_api import PATH as WHATIF_PATH
from dashboard.parts.calendar_shape import LONGEST_WORD, MOST_ITEMS, MOST_LOST_DAYS
from dashboard.parts.line_back import FEWEST_UNITS, FEWEST_WEEKS, MOST
from model.cycle import RECENT_UNITS
from model.whatif import MOST_CASES
from model.workdays import WEEKDAYS

WHOLE_DAYS: Schema = {"type": ["integer", "null"]}
DAY_OR_NULL: Schema = {"type": ["string", "null"], "format": "date"}
NUMBER: Schema = {"type": "number"}
COUNT: Schema = {"type": "integer", "minimum": 0}
WORKDAYS: Schema = {
    "type": "array", "items": {"type": "string", "enum": list(WEEKDAYS)}, "maxItems": 7,
}  # fmt: skip


def _table(needed: tuple[str, ...], **keys: Schema) -> Schema:
    """Return a table of CHANGE.toml, which has no other keys."""
    return {
        "type": "object",
        "properties": keys,
        "required": list(needed),
        "additionalProperties": False,
    }


def _by_key(of: Schema) -> Schema:
    return {"type": "object", "additionalProperties": of}


_WORD: Schema = {"type": "string", "minLength": 1, "maxLength": LONGEST_WORD}
_ONE: Schema = {"case": _WORD, "heading": _WORD}
_TRADE: Schema = {**_ONE, "activity": _WORD}

PLAN_SCHEMAS: Schema = {
    "Cases": _table(
        ("case",),
        case={
            **list_of(_table(
                ("name",), name=_WORD, workdays=WORKDAYS,
                weather={"type": "number", "minimum": 0, "maximum": 100},
            )),
            "minItems": 1, "maxItems": MOST_CASES,
        },
        cycle=list_of(_table(
            ("activity", "days"), **_TRADE,
            days={"type": "number", "exclusiveMinimum": 0, "maximum": 366},
        )),
        crews=list_of(_table(
            ("activity", "crews"), **_TRADE,
            crews={"type": "integer", "minimum": 1, "maximum": 100},
        )),
        sets=list_of(_table(
            (), **_ONE, falsework_sets={"type": "integer", "minimum": 1, "maximum": 10_000},
            turnaround_days={"type": "integer", "minimum": 0, "maximum": 366},
        )),
        order=list_of(_table(("heading", "units"), **_ONE, units=list_of(_WORD))),
    ),
    "Band": record(p10=DAY, p50=DAY, p80=DAY, p90=DAY),
    "Compared": record(
        as_of=DAY, paths=COUNT, seed=COUNT,
        cases=list_of(record(
            name=TEXT, finish=ref("Band"), headings=_by_key(ref("Band")),
            sooner_calendar_days={"type": "integer"}, sets_in_use=_by_key(COUNT),
            pours_per_week=NUMBER, crew_days=NUMBER,
        )),
    ),
    "Calendar": _table(
        (),
        workdays=WORKDAYS,
        holidays={"type": "string", "maxLength": LONGEST_WORD,
                  "description": "Country or country-subdivision; blank for none."},
        days_off={**list_of(DAY), "maxItems": MOST_ITEMS},
        lost_days_per_month={
            "type": ["array", "null"], "minItems": 12, "maxItems": 12,
            "items": {"type": "number", "minimum": 0, "maximum": MOST_LOST_DAYS},
            "description": "Expected working days lost to weather, January … December.",
        },
    ),
    "PlanPut": record(changed=YES_OR_NO, hash=TEXT, kept=TEXT, warnings=list_of(ref("Problem"))),
    "PlanMove": record(
        unit=TEXT, activity=TEXT, was=DAY_OR_NULL, will_be=DAY_OR_NULL, working_days=WHOLE_DAYS
    ),
    "BaselineReview": record(
        added=list_of(ref("PlanMove")), removed=list_of(ref("PlanMove")),
        moved=list_of(ref("PlanMove")), unchanged=COUNT, units_added=list_of(TEXT),
        units_removed=list_of(TEXT), warnings=list_of(ref("Problem")),
    ),
    "BothBaselines": record(problems=list_of(ref("Problem")), now=TEXT, yours=TEXT, hash=TEXT),
    "BothCalendars": record(
        problems=list_of(ref("Problem")), now={"type": "object"}, yours={"type": "object"},
        hash=TEXT,
    ),
}  # fmt: skip

_CSV: Schema = {"required": True, "content": {"text/csv": {"schema": {"type": "string"}}}}
_HEADERS = [
    {"name": "If-Match", "in": "header", "required": False, "schema": _WORD,
     "description": "The ETag of the one that is to be replaced."},
]  # fmt: skip
_BACK = [
    {"name": "recent", "in": "query", "required": False,
     "description": "Draw crew's days from the last so many units.",
     "schema": {"type": "integer", "minimum": FEWEST_UNITS, "maximum": MOST,
                "default": RECENT_UNITS}},
    {"name": "recent_weeks", "in": "query", "required": False,
     "description": "Draw them from the last so many weeks instead; not both.",
     "schema": {"type": "number", "minimum": FEWEST_WEEKS, "maximum": MOST}},
]  # fmt: skip
_SENT: Schema = {
    "400": answer("Malformed.", ref("Problems")),
    "413": answer("Too large.", ref("Problems")),
    "415": answer("Of another kind.", ref("Problems")),
    "422": answer("Refused with everything wrong; nothing was written.", ref("Problems")),
}
_NOT_SEEN = answer("It is not said which one is to be replaced.", ref("Problems"))

PLAN_PATHS: Schema = {
    WHATIF_PATH: {
        "post": {
            "operationId": "whatIf",
            "summary": "Compare up to four cases with the line as it is; the log is not touched.",
            "parameters": _BACK,
            "requestBody": {
                "required": True,
                "content": {"application/json": {"schema": ref("Cases")}},
            },
            "responses": {
                "200": answer("Side by side; the first is the line as it is.", ref("Compared")),
                **_SENT,
                **REFUSALS,
            },
        }
    },
    BASELINE_PATH: {
        "get": {
            "operationId": "readBaseline",
            "summary": "baseline.csv, as it was typed.",
            "responses": {
                "200": {
                    "description": "The text; its hash is the ETag.",
                    "content": {"text/csv": {"schema": {"type": "string"}}},
                },
                "404": answer("There is none.", ref("Problems")),
                **REFUSALS,
            },
        },
        "put": {
            "operationId": "putBaseline",
            "summary": "Replace baseline.csv, checked as a folder is; the former one is kept.",
            "parameters": _HEADERS,
            "requestBody": _CSV,
            "responses": {
                "200": answer("It is in use.", ref("PlanPut")),
                "412": answer("Somebody else was quicker.", ref("BothBaselines")),
                "428": _NOT_SEEN,
                **_SENT,
                **REFUSALS,
            },
        },
    },
    REVIEW_PATH: {
        "post": {
            "operationId": "reviewBaseline",
            "summary": "What a baseline would change; nothing is written.",
            "requestBody": _CSV,
            "responses": {
                "200": answer("Beside the one in use.", ref("BaselineReview")),
                **_SENT,
                **REFUSALS,
            },
        }
    },
    CALENDAR_PATH: {
        "get": {
            "operationId": "readCalendar",
            "summary": "The calendar of project.toml.",
            "responses": {
                "200": answer("Its keys; their hash is the ETag.", ref("Calendar")),
                "404": answer("There is no project.toml.", ref("Problems")),
                **REFUSALS,
            },
        },
        "put": {
            "operationId": "putCalendar",
            "summary": "Replace the calendar; every other key and comment of the file stays.",
            "parameters": _HEADERS,
            "requestBody": {
                "required": True,
                "content": {"application/json": {"schema": ref("Calendar")}},
            },
            "responses": {
                "200": answer("It is in use.", ref("PlanPut")),
                "412": answer("Somebody else was quicker.", ref("BothCalendars")),
                "428": _NOT_SEEN,
                **_SENT,
                **REFUSALS,
            },
        },
    },
}
