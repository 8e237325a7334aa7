"""What the API says of itself: OpenAPI 3.1 at ``/api/openapi.json``.

A test holds that every address under ``/api/`` stands here, and sends what the document allows
and does not allow to see that the answers are those it names.
"""

from __future__ import annotations

import dash
import flask

from dashboard.doors.event_json import AMOUNT, EVENT_ID, LONGEST, MOMENT, NEEDED
from dashboard.doors.events_api import EVENTS_AT_MOST, LARGEST_SEQ
from dashboard.doors.openapi_words import (
    CHANCE,
    DAY,
    KEY,
    NUMBER_OR_NULL,
    NUMBERS,
    REFUSALS,
    TEXT,
    TEXT_OR_NULL,
    WHOLE,
    YES_OR_NO,
    Schema,
    answer,
    list_of,
    record,
    ref,
)
from dashboard.doors.plan_openapi import PLAN_PATHS, PLAN_SCHEMAS
from dashboard.parts.problem_answers import json_answer
from model.activities import GRAINS
from model.events import KINDS, STATUSES

PATH = "/api/openapi.json"
API_VERSION = "1"
"""Of the addresses and what they say; the program has a version of its own."""


def register(app: dash.Dash) -> None:
    """Open the door."""

    def openapi() -> flask.Response:
        return json_answer(document())

    app.server.add_url_rule(PATH, "openapi", openapi, methods=["GET"])


def document() -> Schema:
    """Return the whole document."""
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "Viaduct Pour Map",
            "version": API_VERSION,
            "description": "Records are for planning. That an event is accepted says nothing "
            "about whether the work was safe to do: the engineer of record decides.",
        },
        "security": [{"token": []}, {"session": []}, {}],
        "paths": PATHS,
        "components": {"schemas": SCHEMAS, "securitySchemes": SECURITY},
    }


SECURITY: Schema = {
    "token": {
        "type": "http",
        "scheme": "bearer",
        "description": "Made under /account or with 'viaduct user token'; not needed while the "
        "project has no users.",
    },
    "session": {"type": "apiKey", "in": "cookie", "name": "viaduct_session"},
}

_WORDS = {key: {"type": "string", "maxLength": most} for key, most in LONGEST.items()}
_EVENT_KEYS: Schema = {
    **_WORDS,
    "event_id": {**_WORDS["event_id"], "pattern": f"^{EVENT_ID}$", "minLength": 1,
                 "description": "A UUID made by the sender; sent again, it changes nothing."},
    "at": {**_WORDS["at"], "pattern": f"^{MOMENT}$",
           "description": "Local time on site, without a zone."},
    "kind": {"type": "string", "enum": list(KINDS)},
    "quantity": {**_WORDS["quantity"], "pattern": f"^({AMOUNT})?$",
                 "description": "As text, so that digits stay as they were typed."},
    "by": {**_WORDS["by"], "description": "Passed over where the sender is signed in."},
}  # fmt: skip

SCHEMAS: Schema = {
    "Event": {
        "type": "object",
        "properties": _EVENT_KEYS,
        "required": list(NEEDED),
        "additionalProperties": False,
    },
    "Batch": {
        "type": "object",
        "properties": {
            "events": {**list_of(ref("Event")), "minItems": 1, "maxItems": EVENTS_AT_MOST},
            "seen_seq": {"type": ["integer", "null"], "minimum": 0, "maximum": LARGEST_SEQ,
                         "description": "The last_seq the sender was shown."},
            "despite_others": YES_OR_NO,
        },
        "required": ["events"],
        "additionalProperties": False,
    },
    "Problem": record(
        ("file", "row", "field", "message", "fix", "severity"),
        event_id=TEXT_OR_NULL,
        file=TEXT,
        row={"type": ["integer", "null"]},
        field=TEXT_OR_NULL,
        message=TEXT,
        fix=TEXT,
        severity={"type": "string", "enum": ["error", "warning"]},
    ),
    "Problems": record(problems=list_of(ref("Problem"))),
    "Recorded": record(
        accepted=list_of(TEXT),
        repeated=list_of(TEXT),
        warnings=list_of(ref("Problem")),
        last_seq=WHOLE,
    ),
    "RecordedEvent": record(
        None,
        seq=WHOLE,
        recorded_at=TEXT_OR_NULL,
        known_at=TEXT_OR_NULL,
        **dict.fromkeys(LONGEST, TEXT),
    ),
    "Meanwhile": record(meanwhile=list_of(ref("RecordedEvent")), last_seq=WHOLE),
    "EntrySheet": record(
        as_of=TEXT,
        last_seq=WHOLE,
        project=TEXT,
        timezone=TEXT,
        units_system={"type": "string", "enum": ["us", "si"]},
        activities=list_of(
            record(key=TEXT, name=TEXT, grain=TEXT, measure=TEXT, measure_unit=TEXT,
                    accepted_units=list_of(TEXT), factors=NUMBERS, after=list_of(TEXT),
                    weather=YES_OR_NO)
        ),
        headings=list_of(record(key=TEXT, units=list_of(TEXT))),
        rows=list_of(
            record(unit=TEXT, span=TEXT, activity=TEXT, heading=TEXT,
                    status={"type": "string", "enum": list(STATUSES)}, waits_for=TEXT,
                    reason=TEXT, placed=NUMBER_OR_NULL, planned=NUMBER_OR_NULL,
                    at_hand=YES_OR_NO, free_since=TEXT_OR_NULL)
        ),
        limits={**NUMBERS, "description": "Shares of the plan at which the log warns or refuses; "
                "in minutes, the gap between loads that shift entry remarks upon."},
        likely=record(
            shift={**DAY, "description": "The day on which the shift that runs now began."},
            next_shift={**DAY, "description": "The day of the next one."},
            note={**TEXT, "description": "Why nothing is proposed, where there is nothing to go "
                  "by; else blank."},
            proposals={
                **list_of(record(heading=TEXT, unit=TEXT, span=TEXT, activity=TEXT,
                                kinds=list_of({"type": "string", "enum": list(KINDS)}),
                                chance=CHANCE, chance_by_next=CHANCE, by_plan=YES_OR_NO)),
                "description": "What is likely to be reported, by the forecast: of each heading "
                "the likeliest first. The chances are those of having happened by the end of "
                "the shift, and of the next one; with by_plan nothing of the activity is "
                "finished yet, and the planned cycle stands for its pace. Planning figures "
                "only: they say nothing about strength.",
            },
        ),
        told=record(
            by={**TEXT, "description": "Who is signed in, or who was named."},
            shift={"anyOf": [DAY, {"type": "null"}],
                   "description": "The day on which that person's last shift began."},
            events={**list_of(ref("RecordedEvent")), "description": "What that person recorded "
                    "of it and nobody has cancelled: it can be corrected by new events."},
        ),
        hold_reasons=list_of(TEXT),
        weather_reasons=list_of(TEXT),
        me={"anyOf": [record(name=TEXT, role=TEXT, records=YES_OR_NO), {"type": "null"}]},
    ),
    "Attachment": record(key=TEXT, media_type=TEXT, size_bytes=WHOLE),
    "DayBookEntry": record(
        event_id=TEXT, at=TEXT, known_at=TEXT, late=YES_OR_NO, by=TEXT, heading=TEXT_OR_NULL,
        unit=TEXT_OR_NULL, span=TEXT_OR_NULL, activity=TEXT_OR_NULL, kind=TEXT,
        quantity=TEXT_OR_NULL, measure_unit=TEXT_OR_NULL, reason=TEXT_OR_NULL,
        note=TEXT_OR_NULL, voids=TEXT_OR_NULL, voided_by=TEXT_OR_NULL,
        what={**TEXT, "description": "In words; of a void also which entry it cancels."},
    ),
    "ShiftTotal": record(
        heading=TEXT_OR_NULL,
        activity=TEXT,
        counted_by={"type": "string", "enum": list(GRAINS),
                    "description": "What started to on_hold count."},
        placed={**NUMBER_OR_NULL, "description": "In the shift, without voided entries and "
                "without what was recorded in it about earlier days; null where nothing is "
                "measured."},
        entries={**WHOLE, "description": "Number of entries that placed is made of."},
        placed_to_date={**NUMBER_OR_NULL, "description": "By the end of the shift."},
        planned=NUMBER_OR_NULL,
        measure_unit=TEXT_OR_NULL,
        started=WHOLE,
        finished=WHOLE,
        put_on_hold=WHOLE,
        on_hold={**WHOLE, "description": "On hold at the end of the shift, whenever put there."},
    ),
    "DayBook": record(
        project=TEXT,
        day=TEXT,
        known_on=TEXT,
        happened=list_of(ref("DayBookEntry")),
        recorded=list_of(ref("DayBookEntry")),
        people=list_of(TEXT),
        shift_ends={**TEXT, "description": "Local moment until which its work may go on."},
        still_open={**YES_OR_NO, "description": "Whether the book was made before that."},
        entries={**WHOLE, "description": "Number of entries under happened."},
        entries_cancelled={**WHOLE, "description": "How many of them were cancelled since."},
        totals=record(
            by_heading={**list_of(ref("ShiftTotal")), "description": "Of each heading and "
                        "activity of which the shift has something to say."},
            all_headings={**list_of(ref("ShiftTotal")), "description": "The same activities "
                          "over all headings; heading is null."},
        ),
    ),
    **PLAN_SCHEMAS,
}  # fmt: skip

PATHS: Schema = {
    PATH: {
        "get": {
            "operationId": "openapi",
            "summary": "This document.",
            "responses": {"200": answer("The document.", {"type": "object"}), **REFUSALS},
        }
    },
    "/api/entry-sheet": {
        "get": {
            "operationId": "entrySheet",
            "summary": "Everything the entry page needs while there is no signal.",
            "parameters": [
                {
                    "name": "by",
                    "in": "query",
                    "description": "Whose last shift to tell; passed over where the sender is "
                    "signed in.",
                    "schema": {"type": "string", "maxLength": LONGEST["by"]},
                }
            ],
            "responses": {"200": answer("The sheet.", ref("EntrySheet")), **REFUSALS},
        }
    },
    "/api/day-book": {
        "get": {
            "operationId": "dayBook",
            "summary": "Who recorded what of a day's shift, and what it comes to.",
            "parameters": [
                {
                    "name": "date",
                    "in": "query",
                    "description": "The day the shift began; without it, of the shift now.",
                    "schema": {"type": "string", "format": "date"},
                }
            ],
            "responses": {
                "200": answer("The day book.", ref("DayBook")),
                "400": answer("No such day.", ref("Problems")),
                **REFUSALS,
            },
        }
    },
    "/api/events": {
        "post": {
            "operationId": "recordEvents",
            "summary": "Add events to the log: all of them, or none.",
            "requestBody": {
                "required": True,
                "content": {"application/json": {"schema": ref("Batch")}},
            },
            "responses": {
                "200": answer("All are in the log.", ref("Recorded")),
                "400": answer("Malformed.", ref("Problems")),
                "409": answer(
                    "Somebody else recorded there meanwhile; nothing was written.",
                    ref("Meanwhile"),
                ),
                "413": answer("Too large.", ref("Problems")),
                "415": answer("Not JSON.", ref("Problems")),
                "422": answer("The log refuses them; nothing was written.", ref("Problems")),
                **REFUSALS,
            },
        }
    },
    "/api/attachments": {
        "post": {
            "operationId": "keepAttachment",
            "summary": "Keep a photo or document under the hash of its content.",
            "requestBody": {
                "required": True,
                "content": {"*/*": {"schema": {"type": "string", "format": "binary"}}},
            },
            "responses": {
                "200": answer("It is kept.", ref("Attachment")),
                "413": answer("Too large.", ref("Problems")),
                "422": answer("Empty, or of a kind that is not taken.", ref("Problems")),
                **REFUSALS,
            },
        }
    },
    "/api/attachments/{key}": {
        "get": {
            "operationId": "readAttachment",
            "summary": "A photo or document, as it was sent.",
            "parameters": [{"name": "key", "in": "path", "required": True, "schema": KEY}],
            "responses": {
                "200": {
                    "description": "The photo or document.",
                    "content": {"*/*": {"schema": {"type": "string", "format": "binary"}}},
                },
                "404": answer("None is kept under this key.", ref("Problems")),
                **REFUSALS,
            },
        }
    },
    **PLAN_PATHS,
}
