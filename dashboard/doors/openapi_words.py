"""Words in which the API's document is written: types, records and answers."""

from __future__ import annotations

from typing import Any

from dashboard.doors.events_api import LARGEST_SEQ

Schema = dict[str, Any]


def ref(name: str) -> Schema:
    """Return a reference to a schema of the document."""
    return {"$ref": f"#/components/schemas/{name}"}


def answer(description: str, schema: Schema) -> Schema:
    """Return an answer in JSON."""
    return {"description": description, "content": {"application/json": {"schema": schema}}}


def record(needed: tuple[str, ...] | None = None, **keys: Schema) -> Schema:
    """Return an object with these keys, all needed unless told otherwise."""
    return {"type": "object", "properties": keys, "required": list(needed or keys)}


def list_of(of: Schema) -> Schema:
    """Return a list of one kind of thing."""
    return {"type": "array", "items": of}


TEXT: Schema = {"type": "string"}
TEXT_OR_NULL: Schema = {"type": ["string", "null"]}
NUMBER_OR_NULL: Schema = {"type": ["number", "null"]}
NUMBERS: Schema = {"type": "object", "additionalProperties": {"type": "number"}}
YES_OR_NO: Schema = {"type": "boolean"}
CHANCE: Schema = {"type": "number", "minimum": 0, "maximum": 1}
DAY: Schema = {"type": "string", "format": "date"}
KEY: Schema = {"type": "string", "pattern": "^[0-9a-f]{64}$"}
WHOLE: Schema = {"type": "integer", "minimum": 0, "maximum": LARGEST_SEQ}

REFUSALS: Schema = {
    "401": answer("Not signed in.", ref("Problems")),
    "403": answer("Not allowed.", ref("Problems")),
    "503": answer("The log, the accounts or the disk cannot be used now.", ref("Problems")),
}
"""What every address may answer."""
