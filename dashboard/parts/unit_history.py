"""A unit's history: who said what, when it happened, how much, and why it was held."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import timedelta

from dash import html
from dash.development.base_component import Component

from dashboard.parts.note_text import note_text
from model.answers import HistoryEntry
from model.clock import short_date
from model.event_words import KIND_WORDS, cancelled_words
from model.units import PRINTED

SAID = {**KIND_WORDS, "void": "entry cancelled", "note": "note"}
"""Each kind of event in words; these two stand alone here."""

LATE = timedelta(hours=12)
"""An entry recorded later than this after it happened says so."""


def history_list(entries: Sequence[HistoryEntry], names: Mapping[str, str]) -> Component:
    """Return the entries of a unit, latest first.

    Parameters
    ----------
    entries
        From ``Project.history``.
    names
        Name of each activity by its key.
    """
    if not entries:
        return html.P("Nothing has been recorded here yet.", className="quiet")
    return html.Ol([_entry(entry, names) for entry in entries], className="history")


def _entry(entry: HistoryEntry, names: Mapping[str, str]) -> Component:
    event = entry.event
    cancelled = "cancelled" if entry.voided_by else ""
    lines = [
        html.Div(f"{event.at:%a} {short_date(event.at)} {event.at:%Y, %H:%M}", className="when"),
        html.Div(_what(entry, names), className=f"what {cancelled}"),
    ]
    if entry.voided_by:
        lines.append(html.Div("Cancelled by a later entry.", className="quiet"))
    lines += [html.Div(note_text(text)) for text in (event.reason, event.note) if text]
    by = f"by {event.by}"
    if entry.recorded_local - event.at > LATE:
        known = entry.recorded_local
        by += f", recorded {known:%a} {short_date(known)}, {known:%H:%M}"
    lines.append(html.Div(by, className="quiet"))
    return html.Li(lines)


def _what(entry: HistoryEntry, names: Mapping[str, str]) -> str:
    event = entry.event
    if entry.cancels:
        return cancelled_words(entry.cancels, names, event.at.date())
    words = [names.get(event.activity, event.activity), SAID[event.kind]]
    if event.quantity is not None:
        words.append(f"{event.quantity} {PRINTED.get(event.measure_unit, event.measure_unit)}")
    if event.span:
        words.append(f"(span {event.span})")
    return " ".join(word for word in words if word)
