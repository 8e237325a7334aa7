"""Signing in and staying signed in: passwords, sessions, tokens, and the trail of it all.

Keys of sessions and tokens are random and only their digests are kept, so that a copy of the
accounts opens no door. Passwords are hashed with argon2id. Every change and every denied try
leaves a line in the audit trail.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import secrets
import threading
import unicodedata
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import argon2

from model.accounts import (
    EVERY_HEADING,
    LONGEST_PASSWORD,
    TOKEN_SCOPES,
    Outcome,
    Role,
    Token,
    Try,
    User,
    check_password,
    check_token,
    check_user,
    name_key,
    network_of,
    tidy_name,
)
from model.clock import Clock
from model.problems import InputError, Problem, ViaductError

SIGNED_IN_AT_MOST = dt.timedelta(days=30)
UNUSED_AT_MOST = dt.timedelta(days=7)
"""A phone left in a truck is signed out after a week; common practice, no source."""

SEEN_AGAIN_AFTER = dt.timedelta(minutes=5)
"""How finely the last use of a session is kept, so that reading pages writes next to nothing."""

THROTTLE_WINDOW = dt.timedelta(minutes=15)
WRONG_BY_NAME_HERE = 5
WRONG_BY_NAME = 30
WRONG_BY_ADDRESS = 20
"""Wrong passwords within the window: for one name from one address, for one name from
anywhere (higher, or anyone could lock a person out), and from one address for any name. Where a
person signed in lately, what others try elsewhere does not count."""

SIGN_IN = "sign in"
UNKNOWN = "unknown name"
"""Stands for a name nobody has: what was typed may be a password in the wrong field. A mark
tells two of them apart, so that the throttle counts them as it counts names: otherwise it would
tell who is known here."""

MARK_BYTES = 2

DO_NOT_BELONG = "The name and the password do not belong together."
COMMAND_LINE = "command line"
TOKEN_PREFIX = "vpm"
KEY_BYTES = 32
HASHING_WAIT_S = 3.0


class SignInRefused(ViaductError):
    """The name and the password do not belong together."""


class TooManyTries(ViaductError):
    """Too many wrong passwords; ``wait_s`` says in how many seconds to try again."""

    def __init__(self, wait_s: int) -> None:
        self.wait_s = wait_s
        minutes = -(-wait_s // 60)
        super().__init__(f"Too many tries. Try again in {minutes} min.")


@dataclass(frozen=True, slots=True)
class Known:
    """A person and the hash of the password."""

    user: User
    password_hash: str


@dataclass(frozen=True, slots=True)
class Session:
    """A browser that is signed in.

    Parameters
    ----------
    user
        Name of the person.
    opened_at, seen_at
        Moments (aware, UTC) of the sign-in and of the last use.
    """

    user: str
    opened_at: dt.datetime
    seen_at: dt.datetime

    def stands(self, now: dt.datetime) -> bool:
        """Tell whether the session is neither too old nor unused for too long."""
        return now - self.opened_at < SIGNED_IN_AT_MOST and now - self.seen_at < UNUSED_AT_MOST


class AccountBook(Protocol):
    """Where accounts are kept; see ``model.store.accounts``."""

    def users(self) -> list[User]:
        """Return everybody who may sign in, by name."""

    def any_user(self) -> bool:
        """Tell whether there is anybody."""

    def known(self, key: str) -> Known | None:
        """Return a person by ``name_key``."""

    def add_user(self, known: Known) -> bool:
        """Add a person; False where one of that name is there already."""

    def change_role(self, user: User) -> bool:
        """Give a person another role and headings; False where there is none of that name."""

    def change_password(self, key: str, password_hash: str, was: str = "") -> bool:
        """Give a person another password; False where there is none, or it was another."""

    def remove_user(self, key: str) -> None:
        """Take a person away, with sessions and tokens."""

    def session(self, digest: str) -> Session | None:
        """Return a session by the digest of its key."""

    def open_session(self, digest: str, session: Session, password_hash: str) -> bool:
        """Open a session; False where the person is gone or has another password by now."""

    def see_session(self, digest: str, at: dt.datetime) -> None:
        """Note that a session was used; one that was ended meanwhile stays ended."""

    def end_sessions(self, key: str, digest: str = "") -> None:
        """End a person's sessions; only one of them if its digest is given."""

    def tokens(self, digest: str = "") -> list[Token]:
        """Return all tokens, latest first; only one of them if its digest is given."""

    def put_token(self, token: Token, digest: str, session: str = "") -> bool:
        """Add a token; False where its person is gone, or the session that asks was ended."""

    def revoke_tokens(self, at: dt.datetime, key: str = "", token_id: str = "") -> int:
        """Revoke a person's tokens, or one token; return how many."""

    def note(self, line: Try) -> None:
        """Add a line to the audit trail; a denied try repeated within a minute is counted."""

    def trail(self, limit: int, *, denied_only: bool = False) -> list[Try]:
        """Return the last lines of the audit trail, latest first."""

    def tries(self, what: str, outcome: Outcome, since: dt.datetime) -> list[Try]:
        """Return the tries of something since a moment, those denied or those done."""

    def close(self) -> None:
        """Let go of it."""


class Membership:
    """Everyone who may come in, and how they do.

    Parameters
    ----------
    book
        Where accounts are kept.
    clock
        What time it is.
    headings
        Keys of the job's headings.
    hasher
        Hashes passwords; tests hand in a quicker one.
    """

    def __init__(
        self,
        book: AccountBook,
        clock: Clock,
        headings: Collection[str] = (),
        hasher: argon2.PasswordHasher | None = None,
    ) -> None:
        self._book = book
        self._clock = clock
        self._headings = tuple(headings)
        self._hasher = hasher or argon2.PasswordHasher()
        # One at a time: a hash takes 64 MiB, and tries side by side would not be counted.
        self._hashing = threading.Lock()
        # Forgotten when the program ends, so that marks of names lead back to nothing.
        self._marking = secrets.token_bytes(KEY_BYTES)

    # People

    def in_use(self) -> bool:
        """Tell whether there is any user."""
        return self._book.any_user()

    def users(self) -> list[User]:
        """Return everybody who may sign in, by name."""
        return self._book.users()

    def user(self, name: str) -> User:
        """Return a person by name.

        Raises
        ------
        InputError
            When nobody is called so.
        """
        return self._known(name).user

    def add(self, name: str, role: Role, password: str, headings: Sequence[str] = ()) -> User:
        """Add a person.

        Raises
        ------
        InputError
            When the name is taken or something given cannot be.
        """
        name = tidy_name(name)
        if self._book.known(name_key(name)):
            raise _there_already(name)
        user = User(name, role, tuple(dict.fromkeys(headings)), self._clock())
        check_user(user, self._headings)
        check_password(password, name)
        if not self._book.add_user(Known(user, self._hasher.hash(_bytes(password)))):
            raise _there_already(name)
        self.done("user add", f"{name}, {_role_words(user)}")
        return user

    def set_role(self, name: str, role: Role, headings: Sequence[str] = ()) -> User:
        """Give a person another role; sessions and tokens go on with it."""
        known = self._known(name)
        user = replace(known.user, role=role, headings=tuple(dict.fromkeys(headings)))
        check_user(user, self._headings)
        if not self._book.change_role(user):
            raise _nobody(name)
        self.done("user role", f"{user.name}, {_role_words(user)}")
        return user

    def set_password(self, name: str, password: str) -> User:
        """Give a person another password; signs out everywhere and revokes the tokens."""
        known = self._known(name)
        check_password(password, known.user.name)
        key, hashed = name_key(known.user.name), self._hasher.hash(_bytes(password))
        if not self._book.change_password(key, hashed):
            raise _nobody(name)
        self._shut_out(known.user)
        self.done("user password", known.user.name)
        return known.user

    def change_password(self, user: User, old: str, new: str, address: str) -> None:
        """Give oneself another password; the present one is asked for, and tries are counted.

        Raises
        ------
        SignInRefused, TooManyTries
            As at the sign-in.
        InputError
            When the new one cannot be.
        """
        check_password(new, user.name)
        proved = self._prove(user.name, old, address)
        key, hashed = name_key(user.name), self._hasher.hash(_bytes(new))
        if not self._book.change_password(key, hashed, proved.password_hash):
            raise SignInRefused(DO_NOT_BELONG)
        self._shut_out(user)
        self.done("user password", user.name, user.name, address)

    def remove(self, name: str) -> User:
        """Take a person away: no sign-in, no session, no token any more."""
        user = self._known(name).user
        self._book.remove_user(name_key(user.name))
        self.done("user remove", user.name)
        return user

    # Signing in

    def sign_in(self, name: str, password: str, address: str) -> tuple[str, User]:
        """Sign a person in.

        Parameters
        ----------
        name, password
            As typed.
        address
            Where from.

        Returns
        -------
        str, User
            The key of the session, to be kept by the browser; and who it is.

        Raises
        ------
        SignInRefused
            When they do not belong together.
        TooManyTries
            When too many were wrong lately.
        """
        proved = self._prove(name, password, address)
        user, key, now = proved.user, secrets.token_urlsafe(KEY_BYTES), self._clock()
        session = Session(user.name, now, now)
        if not self._book.open_session(_digest(key), session, proved.password_hash):
            raise SignInRefused(DO_NOT_BELONG)
        self.done(SIGN_IN, "", user.name, address)
        return key, user

    def _prove(self, name: str, password: str, address: str) -> Known:
        """Return who a name and password belong to; every wrong one is counted."""
        known = self._book.known(name_key(name))
        shown = known.user.name if known else UNKNOWN
        counted = known.user.name if known else f"{UNKNOWN} #{self._mark(name)}"
        if not self._hashing.acquire(timeout=HASHING_WAIT_S):
            self.deny(shown, address, f"{SIGN_IN} while busy", "too many at once")
            raise TooManyTries(60)
        try:
            wait_s = self._wait_s(counted, address)
            if wait_s:
                # Without the mark: one line that counts, whatever names a flood makes up.
                self.deny(shown, address, f"{SIGN_IN} while throttled", "too many tries")
                raise TooManyTries(wait_s)
            right = self._matches(known, password)
            if known is None or not right:
                self.deny(counted, address, SIGN_IN, "wrong name or password")
                raise SignInRefused(DO_NOT_BELONG)
        finally:
            self._hashing.release()
        return known

    def of_session(self, key: str) -> User | None:
        """Return who is signed in with a session's key, None for nobody."""
        digest = _digest(key)
        session = self._book.session(digest)
        now = self._clock()
        if session is None or not session.stands(now):
            return None
        if now - session.seen_at >= SEEN_AGAIN_AFTER:
            self._book.see_session(digest, now)
        known = self._book.known(name_key(session.user))
        return known.user if known else None

    def sign_out(self, user: User, key: str, address: str) -> None:
        """End one session."""
        self._book.end_sessions(name_key(user.name), _digest(key))
        self.done("sign out", "", user.name, address)

    def sign_out_everywhere(self, user: User, address: str = COMMAND_LINE) -> None:
        """End every session of a person and revoke the tokens."""
        self._shut_out(user)
        self.done("sign out everywhere", user.name, user.name, address)

    # Tokens

    def make_token(
        self,
        name: str,
        label: str,
        scopes: Sequence[str],
        days: int,
        *,
        session: str = "",
        address: str = COMMAND_LINE,
    ) -> tuple[str, Token]:
        """Make a token for a program.

        Parameters
        ----------
        name
            In whose name it acts.
        label
            What it is for.
        scopes
            Rights, of ``TOKEN_SCOPES``.
        days
            Calendar days until it expires.
        session
            Key of the session in which the person asks; blank on the command line.
        address
            Where from.

        Returns
        -------
        str, Token
            The token itself, which cannot be shown again, and what is known of it.
        """
        user = self._known(name).user
        check_token(scopes, days, user)
        kept = tuple(scope for scope in TOKEN_SCOPES if scope in scopes)
        now = self._clock()
        token_id, secret = secrets.token_hex(4), secrets.token_urlsafe(KEY_BYTES)
        token = Token(token_id, user.name, tidy_name(label)[:LABEL_AT_MOST], kept, now,
                      now + dt.timedelta(days=days))  # fmt: skip
        text = f"{TOKEN_PREFIX}_{token_id}_{secret}"
        if not self._book.put_token(token, _digest(text), session and _digest(session)):
            raise _nobody(name)
        self.done("token make", f"{token_id} for {user.name}: {', '.join(kept)}, {days} days",
                  user.name if session else "", address)  # fmt: skip
        return text, token

    def of_token(self, text: str) -> tuple[User, Token] | None:
        """Return whose a token is and what it may, None for one that does not stand."""
        found = self._book.tokens(_digest(text))
        if not found or not found[0].stands(self._clock()):
            return None
        known = self._book.known(name_key(found[0].user))
        return (known.user, found[0]) if known else None

    def tokens(self) -> list[Token]:
        """Return every token there ever was, latest first."""
        return self._book.tokens()

    def revoke_token(self, token_id: str, user: str = "", address: str = COMMAND_LINE) -> None:
        """Revoke a token; who asks is noted where it is a person signed in.

        Raises
        ------
        InputError
            When none of that id stands.
        """
        if not self._book.revoke_tokens(self._clock(), token_id=token_id):
            raise InputError([Problem("user", f"No token {token_id!r} stands.",
                                      "See the list of tokens.", field="token")])  # fmt: skip
        self.done("token revoke", token_id, user, address)

    # The trail

    def deny(self, user: str, address: str, what: str, why: str) -> None:
        """Put a denied try into the audit trail."""
        self._book.note(Try(self._clock(), user, address, what, "denied", why))

    def done(self, what: str, why: str, user: str = "", address: str = COMMAND_LINE) -> None:
        """Put something that was done into the audit trail."""
        self._book.note(Try(self._clock(), user, address, what, "done", why))

    def trail(self, limit: int = 200, *, denied_only: bool = False) -> list[Try]:
        """Return the last lines of the audit trail, latest first."""
        return self._book.trail(limit, denied_only=denied_only)

    def close(self) -> None:
        """Close the accounts."""
        self._book.close()

    def _known(self, name: str) -> Known:
        known = self._book.known(name_key(name))
        if known is None:
            raise _nobody(name)
        return known

    def _shut_out(self, user: User) -> None:
        self._book.end_sessions(name_key(user.name))
        self._book.revoke_tokens(self._clock(), name_key(user.name))

    def _wait_s(self, name: str, address: str) -> int:
        """Return in how many seconds one may try again; 0 for now."""
        now, here = self._clock(), network_of(address)
        tries = self._book.tries(SIGN_IN, "denied", now - THROTTLE_WINDOW)
        by_name = [line for line in tries if line.user == name]
        by_address = [line for line in tries if network_of(line.address) == here]
        by_name_here = [line for line in by_name if line in by_address]
        for lines, limit in (
            (by_name_here, WRONG_BY_NAME_HERE),
            (by_address, WRONG_BY_ADDRESS),
            (by_name, WRONG_BY_NAME),
        ):
            if sum(line.times for line in lines) < limit:
                continue
            if lines is by_name and self._signed_in_lately(name, here):
                continue
            oldest = min(line.last_at or line.at for line in lines)
            return max(1, round((oldest + THROTTLE_WINDOW - now).total_seconds()))
        return 0

    def _signed_in_lately(self, name: str, network: str) -> bool:
        """Tell whether a person came in from a network while a session would still stand."""
        lately = self._book.tries(SIGN_IN, "done", self._clock() - SIGNED_IN_AT_MOST)
        return any(t.user == name and network_of(t.address) == network for t in lately)

    def _mark(self, name: str) -> str:
        """Return what tells one name that nobody has from another, and not what it is."""
        typed = name_key(name).encode()
        return hashlib.blake2b(typed, digest_size=MARK_BYTES, key=self._marking).hexdigest()

    def _matches(self, known: Known | None, password: str) -> bool:
        """Check a password; an unknown name takes as long as a known one."""
        if len(password) > LONGEST_PASSWORD:
            return False
        kept = known.password_hash if known else self._nobodys_hash
        try:
            self._hasher.verify(kept, _bytes(password))
        except argon2.exceptions.VerificationError:
            return False
        return known is not None

    @cached_property
    def _nobodys_hash(self) -> str:
        return self._hasher.hash(secrets.token_urlsafe(KEY_BYTES))


LABEL_AT_MOST = 100


def _nobody(name: str) -> InputError:
    fix = "See the list of users."
    return InputError([Problem("user", f"Nobody is called {name!r}.", fix, field="name")])


def _there_already(name: str) -> InputError:
    fix = "Choose another name, or change this one."
    return InputError([Problem("user", f"{name!r} is there already.", fix, field="name")])


def _digest(key: str) -> str:
    """Digest a random key; it has 256 bits of chance, so a plain hash is enough."""
    return hashlib.sha256(key.encode("utf-8", "surrogatepass")).hexdigest()


def _bytes(password: str) -> bytes:
    """Return what is hashed: the same for every way a keyboard writes the same letters."""
    return unicodedata.normalize("NFKC", password).encode("utf-8", "surrogatepass")


def _role_words(user: User) -> str:
    if user.role != "superintendent":
        return user.role
    where = "every heading" if EVERY_HEADING in user.headings else ", ".join(user.headings)
    return f"{user.role} on {where}"
