"""What people of the demo are called and what they write; all of it invented."""

from __future__ import annotations

from model.activities import Activity

FOREMEN: dict[str, tuple[str, ...]] = {
    "falsework": ("Odrel Kvint", "Odrel Kvint"),
    "bottom_slab_stems": ("Maritza Thole", "Bram Oskrey"),
    "deck_forms": ("Yusra Penhallick", "Tolly Ambrest"),
    "rebar": ("Deshi Varnow", "Deshi Varnow"),
    "deck_pour": ("Maritza Thole", "Bram Oskrey"),
    "curing": ("Maritza Thole", "Bram Oskrey"),
}
"""Who records each activity: on the eastbound, on the westbound structure."""

HOLD_REASONS: dict[str, tuple[str, ...]] = {
    "falsework": (
        "Pad settled more than allowed, re-levelling",
        "High tide over the pads",
        "Waiting for survey grades",
        "Crane down for its inspection",
    ),
    "bottom_slab_stems": (
        "Stem forms out of line, re-bracing",
        "Stem steel not released by the inspector",
        "Tendon ducts short, delivery late",
        "Batch plant down",
    ),
    "deck_forms": (
        "Joists cut short, waiting for lumber",
        "Grades to be checked against the screed plan",
        "Carpenters lent to the other structure",
    ),
    "rebar": (
        "Bars for another unit delivered",
        "Coated bars damaged in unloading",
        "Bar list changed at the hinge, waiting for answer",
    ),
    "deck_pour": (
        "Wind over the limit for placing",
        "Pump broke down, standby pump called",
        "Too hot and dry to place, moved to another night",
    ),
}

FORM_SHORTAGE = "Deck forms short: panels still under decks that cure"
STEMS_NOT_RELEASED = "Stem steel at the hinge not released, waiting for answer"
RAIN = "Rain"
RAIN_NOTE = "Rain, crew sent home"

REOPEN_REASONS: dict[str, str] = {
    "deck_forms": "Soffit grade low at midspan, wedges to be raised",
    "rebar": "Chairs missing under the top mat",
}
AGAIN_FINISHED = "Put right and looked at again"

CURE_CHECKS = ("Blankets wet, edges held down", "Dry strip along the barrier, wetted", "Wet")
STRAIGHTEDGE = ("Within limits", "Two high spots to grind", "Within limits, one low spot marked")
WRONG_DIGITS = "Digits swapped"
SENT_TWICE = "Sent twice"
FINISHED_EARLY = "Not finished yet, pressed too early"
LATE_TICKETS = "Load tickets handed in late"


def foreman(activity: Activity, unit: str) -> str:
    """Return who records an activity on a unit."""
    east, west = FOREMEN[activity.key]
    return east if unit.startswith("E") else west
