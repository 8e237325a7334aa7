"""Accounts of a test in one line, with a clock that the test sets and quick hashes."""

from __future__ import annotations

import datetime as dt

import argon2

from model.membership import Membership
from model.store import open_accounts

QUICK = argon2.PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
"""Hashes in well under a millisecond: how strong they are is argon2's matter, not ours."""

PASSWORD = "wet plywood at six"


class SetClock:
    """A clock that shows what a test sets it to."""

    def __init__(self) -> None:
        self.moment = dt.datetime(2026, 7, 1, 19, 0, tzinfo=dt.UTC)

    def __call__(self) -> dt.datetime:
        return self.moment

    def later(self, **by: float) -> None:
        self.moment += dt.timedelta(**by)


def a_membership(clock=None, book=None, headings=("h1", "h2")):
    return Membership(book or open_accounts(":memory:"), clock or SetClock(), headings, QUICK)
