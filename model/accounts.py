"""Who may do what: people, their roles, and keys for programs.

============== ==== ====================== ====================== ==========
role           read record                 cases, baseline,       users
                                           calendar
============== ==== ====================== ====================== ==========
owner          yes
superintendent yes  on the headings given
scheduler      yes  on every heading       yes
administrator  yes  on every heading       yes                    yes
============== ==== ====================== ====================== ==========

Pure rules: how people are kept is ``model.store``, how they sign in ``model.membership``.
"""

from __future__ import annotations

import datetime as dt
import ipaddress
import re
import unicodedata
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal, get_args

from model.problems import InputError, Problem

Role = Literal["owner", "superintendent", "scheduler", "administrator"]
Right = Literal["read", "record", "plan", "administer"]
Outcome = Literal["done", "denied"]

ROLES: tuple[Role, ...] = get_args(Role)
RIGHTS: tuple[Right, ...] = get_args(Right)

MAY: Mapping[Role, frozenset[Right]] = {
    "owner": frozenset({"read"}),
    "superintendent": frozenset({"read", "record"}),
    "scheduler": frozenset({"read", "record", "plan"}),
    "administrator": frozenset({"read", "record", "plan", "administer"}),
}
"""The rights of each role."""

TOKEN_SCOPES: tuple[Right, ...] = ("read", "record", "plan")
"""What a token may be given; users are looked after by people only."""

EVERY_HEADING = "*"
"""Stands for all headings, also those that are added later."""

LONGEST_NAME = 60
SHORTEST_PASSWORD = 12
LONGEST_PASSWORD = 256
"""A bound, because hashing takes longer for longer passwords."""

LONGEST_TOKEN_DAYS = 366

_NAME = re.compile(r"[^\W_](?:[\w .'’-]*[\w.])?")


@dataclass(frozen=True, slots=True)
class User:
    """One person who may sign in.

    Parameters
    ----------
    name
        As signed in with, and as written in ``by`` of what this person records.
    role
        What this person does on the job.
    headings
        Headings a superintendent records on; ``EVERY_HEADING`` for all. Other roles are not
        bound to headings.
    added_at
        Moment (aware, UTC).
    """

    name: str
    role: Role
    headings: tuple[str, ...] = ()
    added_at: dt.datetime | None = None

    def may(self, right: Right) -> bool:
        """Tell whether the role has a right.

        Examples
        --------
        >>> User("Ines", "owner").may("record")
        False
        """
        return right in MAY[self.role]

    @property
    def records_on(self) -> frozenset[str] | None:
        """Headings this person may record on; None where they are not bound.

        Examples
        --------
        >>> sorted(User("Ines", "superintendent", ("east_1",)).records_on)
        ['east_1']
        """
        if not self.may("record"):
            return frozenset()
        if self.role != "superintendent" or EVERY_HEADING in self.headings:
            return None
        return frozenset(self.headings)


@dataclass(frozen=True, slots=True)
class Token:
    """A key with which a program uses the API in a person's name.

    Parameters
    ----------
    token_id
        Not secret: shown in lists and in the audit trail.
    user
        Name of the person; the token can do no more than this person.
    label
        What it is for, in words.
    scopes
        Rights it was given, of ``TOKEN_SCOPES``.
    made_at, expires_at, revoked_at
        Moments (aware, UTC); ``revoked_at`` is None while it stands.
    """

    token_id: str
    user: str
    label: str
    scopes: tuple[Right, ...]
    made_at: dt.datetime
    expires_at: dt.datetime
    revoked_at: dt.datetime | None = None

    def stands(self, now: dt.datetime) -> bool:
        """Tell whether the token is neither revoked nor past its day."""
        return self.revoked_at is None and now < self.expires_at


@dataclass(frozen=True, slots=True)
class Try:
    """One line of the audit trail: who tried what, and what came of it.

    Parameters
    ----------
    at
        Moment of the first try (aware, UTC).
    user
        Name, blank when nobody was signed in.
    address
        Network address it came from; ``"command line"`` for a command.
    what
        Route, callback or command.
    outcome
        ``"denied"`` or ``"done"``.
    why
        Reason of a denial, or what was done.
    times
        The same denied try again and again is one line that counts.
    last_at
        Moment of the last one.
    """

    at: dt.datetime
    user: str
    address: str
    what: str
    outcome: Outcome
    why: str
    times: int = 1
    last_at: dt.datetime | None = None


def tidy_name(typed: str) -> str:
    """Return a name as it is kept: one way of writing, single blanks.

    Examples
    --------
    >>> tidy_name("  Ines   Alder ")
    'Ines Alder'
    """
    sound = typed.replace("\x00", "").encode("utf-8", "replace").decode()
    return " ".join(unicodedata.normalize("NFKC", sound).split())


def name_key(name: str) -> str:
    """Return what tells two names apart: capitals do not."""
    return tidy_name(name).casefold()


def network_of(address: str) -> str:
    """Return what tries are counted by: an address, or the network of an IPv6 address.

    Notes
    -----
    One line or phone is usually given a whole /64 and picks 2^64 addresses in it at will, so
    that counting each of them would count nothing [1]_.

    References
    ----------
    .. [1] RFC 7421, section 1: 64 bits of an IPv6 address name the interface (from memory).

    Examples
    --------
    >>> network_of("203.0.113.7"), network_of("2001:db8:1:2:3:4:5:6")
    ('203.0.113.7', '2001:db8:1:2::/64')
    """
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address
    if found.version == 4:
        return address
    return str(found.ipv4_mapped or ipaddress.IPv6Network((int(found), 64), strict=False))


def check_user(user: User, known_headings: Collection[str]) -> None:
    """Refuse a user that cannot be, with everything that is wrong.

    Parameters
    ----------
    user
        Who is to be added or changed.
    known_headings
        Keys of the job's headings.

    Raises
    ------
    InputError
    """
    problems = [*_wrong_name(user.name), *_wrong_role(user, known_headings)]
    if problems:
        raise InputError(problems)


def _wrong_name(name: str) -> Iterator[Problem]:
    if len(name) > LONGEST_NAME:
        yield _problem("name", f"The name has {len(name)} characters; {LONGEST_NAME} are allowed.",
                       "Shorten it.")  # fmt: skip
    elif not _NAME.fullmatch(name):
        yield _problem("name", f"{name!r} is no name to sign in with.",
                       "Use letters, digits, blanks, dots, hyphens and apostrophes.")  # fmt: skip


def _wrong_role(user: User, known_headings: Collection[str]) -> Iterator[Problem]:
    if user.role not in ROLES:
        yield _problem("role", f"{user.role!r} is no role.", f"Use one of {', '.join(ROLES)}.")
        return
    known = ", ".join(known_headings)
    if user.role == "superintendent" and not user.headings:
        yield _problem("heading", "A superintendent records on the headings given, and none is.",
                       f"Give --heading with one of {known}, or --every-heading.")  # fmt: skip
    if user.role != "superintendent" and user.headings:
        yield _problem("heading", f"The role {user.role} is not bound to headings.",
                       "Leave --heading out.")  # fmt: skip
    for heading in user.headings:
        if heading != EVERY_HEADING and heading not in known_headings:
            yield _problem("heading", f"{heading!r} is no heading of this job.",
                           f"Use one of {known}.")  # fmt: skip


def check_password(password: str, name: str) -> None:
    """Refuse a password that is too easily guessed, or too long to hash in good time.

    Raises
    ------
    InputError

    Notes
    -----
    Length counts, not a mixture of kinds of characters, after NIST SP 800-63B (from memory);
    the length asked for is common practice, no source.
    """
    if len(password) < SHORTEST_PASSWORD:
        wrong = f"The password has {len(password)} characters, fewer than {SHORTEST_PASSWORD}."
        fix = "Use a few words in a row."
    elif len(password) > LONGEST_PASSWORD:
        wrong = f"The password has more than {LONGEST_PASSWORD} characters."
        fix = "Shorten it."
    elif len(set(password)) < 5 or name_key(name) in password.casefold():
        wrong = "The password is the name, or the same few characters again and again."
        fix = "Use a few words in a row that nobody would guess."
    else:
        return
    raise InputError([_problem("password", wrong, fix)])


def check_token(scopes: Collection[str], days: int, user: User) -> None:
    """Refuse a token that could do more than its person, or that lasts too long.

    Raises
    ------
    InputError
    """
    problems = []
    if not scopes:
        problems.append(_problem("scope", "A token without a scope can do nothing.",
                                 f"Give one of {', '.join(TOKEN_SCOPES)}."))  # fmt: skip
    for scope in scopes:
        if scope not in TOKEN_SCOPES:
            problems.append(_problem("scope", f"{scope!r} is no scope of a token.",
                                     f"Use one of {', '.join(TOKEN_SCOPES)}."))  # fmt: skip
        elif scope not in MAY[user.role]:
            problems.append(_problem("scope", f"{user.name} ({user.role}) may not {scope}.",
                                     "Leave it out, or change the role."))  # fmt: skip
    if not 1 <= days <= LONGEST_TOKEN_DAYS:
        problems.append(_problem("days", f"A token lasts 1 to {LONGEST_TOKEN_DAYS} days, not "
                                 f"{days}.", "Give fewer days and renew it."))  # fmt: skip
    if problems:
        raise InputError(problems)


def _problem(field: str, message: str, fix: str) -> Problem:
    return Problem("user", message, fix, field=field)
