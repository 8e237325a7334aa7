"""Where accounts are kept: users, sessions, tokens and the audit trail.

In ``accounts.sqlite`` beside the log, or in the log's PostgreSQL database; never in the log
itself, which is handed on and exported while accounts are not. The audit trail is only added
to: a denied try that comes again within a minute raises its count, so that a flood of them
does not fill the disk.
"""

from __future__ import annotations

import datetime as dt
import json
from abc import ABC, abstractmethod
from collections.abc import Sequence
from contextlib import AbstractContextManager
from typing import Any, cast

from model.accounts import Outcome, Right, Role, Token, Try, User, name_key
from model.membership import Known, Session
from model.store.rows import utc_moment, utc_text
from model.store.statements import Cursor

REPEATED_WITHIN = dt.timedelta(minutes=1)
TEXT_AT_MOST = 500
"""Characters of a line of the audit trail: what a stranger sends is not kept at any length."""

TABLES = (
    """
    CREATE TABLE account_users (
        user_key TEXT PRIMARY KEY,
        name TEXT NOT NULL,
        role TEXT NOT NULL,
        headings TEXT NOT NULL,
        added_at TEXT NOT NULL,
        password_hash TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE account_sessions (
        digest TEXT PRIMARY KEY,
        user_key TEXT NOT NULL,
        name TEXT NOT NULL,
        opened_at TEXT NOT NULL,
        seen_at TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE account_tokens (
        digest TEXT PRIMARY KEY,
        token_id TEXT NOT NULL UNIQUE,
        user_key TEXT NOT NULL,
        name TEXT NOT NULL,
        label TEXT NOT NULL,
        scopes TEXT NOT NULL,
        made_at TEXT NOT NULL,
        expires_at TEXT NOT NULL,
        revoked_at TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE account_trail (
        line INTEGER PRIMARY KEY,
        at TEXT NOT NULL,
        who TEXT NOT NULL,
        address TEXT NOT NULL,
        what TEXT NOT NULL,
        outcome TEXT NOT NULL,
        why TEXT NOT NULL,
        times INTEGER NOT NULL,
        last_at TEXT NOT NULL
    )
    """,
    "CREATE INDEX account_trail_last_at ON account_trail (last_at)",
)
"""The first version, alike in SQLite and PostgreSQL."""

SESSION = "user_key, name, opened_at, seen_at"
TOKEN = "token_id, name, label, scopes, made_at, expires_at, revoked_at"
TRY = "at, who, address, what, outcome, why, times, last_at"
FOUR_TEXTS = ", ".join(["CAST(? AS TEXT)"] * 4)
"""Values beside columns: PostgreSQL asks of what type they are."""


class Accounts(ABC):
    """Accounts in a database; the statements are written for SQLite's mark ``?``."""

    @abstractmethod
    def _transaction(self) -> AbstractContextManager[Cursor]:
        """Open a transaction: kept when left in peace, undone on any error."""

    @abstractmethod
    def close(self) -> None:
        """Let go of the accounts; closing twice does no harm."""

    def users(self) -> list[User]:
        """Return everybody who may sign in, by name."""
        return [known.user for known in self._people("ORDER BY user_key", ())]

    def any_user(self) -> bool:
        """Tell whether there is anybody."""
        return bool(self._rows("SELECT 1 FROM account_users LIMIT 1", ()))

    def known(self, key: str) -> Known | None:
        """Return a person by ``name_key``."""
        found = self._people("WHERE user_key = ?", (key,))
        return found[0] if found else None

    def add_user(self, known: Known) -> bool:
        """Add a person; False where one of that name is there already."""
        user, key = known.user, name_key(known.user.name)
        row = (key, user.name, user.role, json.dumps(user.headings), _text(user.added_at),
               known.password_hash)  # fmt: skip
        added = self._run(
            "INSERT INTO account_users"
            " (user_key, name, role, headings, added_at, password_hash)"
            " VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT (user_key) DO NOTHING",
            row,
        )
        return bool(added)

    # Changes only change: one that was begun before a person was removed brings nobody back.

    def change_role(self, user: User) -> bool:
        """Give a person another role and headings; False where there is none of that name."""
        changed = self._run(
            "UPDATE account_users SET role = ?, headings = ? WHERE user_key = ?",
            (user.role, json.dumps(user.headings), name_key(user.name)),
        )
        return bool(changed)

    def change_password(self, key: str, password_hash: str, was: str = "") -> bool:
        """Give a person another password; False where there is none, or it was another."""
        changed = self._run(
            "UPDATE account_users SET password_hash = ?"
            " WHERE user_key = ? AND (? = '' OR password_hash = ?)",
            (password_hash, key, was, was),
        )
        return bool(changed)

    def remove_user(self, key: str) -> None:
        """Take a person away, with sessions and tokens."""
        with self._transaction() as cursor:
            for table in ("account_users", "account_sessions", "account_tokens"):
                cursor.execute(self._marked(f"DELETE FROM {table} WHERE user_key = ?"), (key,))

    def session(self, digest: str) -> Session | None:
        """Return a session by the digest of its key."""
        rows = self._rows(f"SELECT {SESSION} FROM account_sessions WHERE digest = ?", (digest,))
        if not rows:
            return None
        _, name, opened_at, seen_at = rows[0]
        return Session(name, utc_moment(opened_at), utc_moment(seen_at))

    def open_session(self, digest: str, session: Session, password_hash: str) -> bool:
        """Open a session; False where the person is gone or has another password by now."""
        key = name_key(session.user)
        row = (digest, session.user, _text(session.opened_at), _text(session.seen_at))
        opened = self._run(
            "INSERT INTO account_sessions (digest, name, opened_at, seen_at, user_key)"
            f" SELECT {FOUR_TEXTS}, user_key FROM account_users"
            " WHERE user_key = ? AND password_hash = ?",
            (*row, key, password_hash),
        )
        return bool(opened)

    def see_session(self, digest: str, at: dt.datetime) -> None:
        """Note that a session was used; one that was ended meanwhile stays ended."""
        self._run("UPDATE account_sessions SET seen_at = ? WHERE digest = ?", (_text(at), digest))

    def end_sessions(self, key: str, digest: str = "") -> None:
        """End a person's sessions; only one of them if its digest is given."""
        asked, values = "DELETE FROM account_sessions WHERE user_key = ?", [key]
        if digest:
            asked, values = f"{asked} AND digest = ?", [key, digest]
        self._run(asked, values)

    def tokens(self, digest: str = "") -> list[Token]:
        """Return all tokens, latest first; only one of them if its digest is given."""
        where, values = ("WHERE digest = ?", [digest]) if digest else ("", [])
        asked = f"SELECT {TOKEN} FROM account_tokens {where} ORDER BY made_at DESC, token_id"
        return [_token(row) for row in self._rows(asked, values)]

    def put_token(self, token: Token, digest: str, session: str = "") -> bool:
        """Add a token; False where its person is gone, or the session that asks was ended."""
        row = (digest, token.token_id, token.user, token.label, " ".join(token.scopes),
               _text(token.made_at), _text(token.expires_at), _text(token.revoked_at))  # fmt: skip
        added = self._run(
            f"INSERT INTO account_tokens (digest, {TOKEN}, user_key)"
            f" SELECT {FOUR_TEXTS}, {FOUR_TEXTS}, user_key FROM account_users"
            " WHERE user_key = ? AND (? = '' OR EXISTS"
            " (SELECT 1 FROM account_sessions WHERE digest = ?))",
            (*row, name_key(token.user), session, session),
        )
        return bool(added)

    def revoke_tokens(self, at: dt.datetime, key: str = "", token_id: str = "") -> int:
        """Revoke a person's tokens, or one token; return how many."""
        column, value = ("user_key", key) if key else ("token_id", token_id)
        asked = f"UPDATE account_tokens SET revoked_at = ? WHERE revoked_at = '' AND {column} = ?"
        return self._run(asked, (_text(at), value))

    def note(self, line: Try) -> None:
        """Add a line to the audit trail; a denied try repeated within a minute is counted."""
        at = _text(line.at)
        same = tuple(_bounded(word) for word in
                     (line.user, line.address, line.what, line.outcome, line.why))  # fmt: skip
        with self._transaction() as cursor:
            if line.outcome == "denied" and self._counted(cursor, line.at, same):
                return
            cursor.execute(
                self._marked(
                    f"INSERT INTO account_trail (line, {TRY}) VALUES"
                    " ((SELECT coalesce(max(line), 0) + 1 FROM account_trail),"
                    " ?, ?, ?, ?, ?, ?, ?, ?)"
                ),
                (at, *same, line.times, at),
            )

    def trail(self, limit: int, *, denied_only: bool = False) -> list[Try]:
        """Return the last lines of the audit trail, latest first."""
        where = "WHERE outcome = 'denied'" if denied_only else ""
        asked = f"SELECT {TRY} FROM account_trail {where} ORDER BY line DESC LIMIT ?"
        return [_try(row) for row in self._rows(asked, (limit,))]

    def tries(self, what: str, outcome: Outcome, since: dt.datetime) -> list[Try]:
        """Return the tries of something since a moment, those denied or those done."""
        asked = (
            f"SELECT {TRY} FROM account_trail"
            " WHERE last_at >= ? AND outcome = ? AND what = ? ORDER BY line"
        )
        return [_try(row) for row in self._rows(asked, (_text(since), outcome, what))]

    def _marked(self, statement: str) -> str:
        """Return a statement with the driver's own mark for a value."""
        return statement

    def _counted(self, cursor: Cursor, at: dt.datetime, same: tuple[str, ...]) -> bool:
        """Raise the count of the same denied try, if it was made a moment ago."""
        changed = cursor.execute(
            self._marked(
                "UPDATE account_trail SET times = times + 1, last_at = ? WHERE line ="
                " (SELECT max(line) FROM account_trail WHERE last_at >= ? AND who = ?"
                " AND address = ? AND what = ? AND outcome = ? AND why = ?) AND at >= ?"
            ),
            (_text(at), _text(at - REPEATED_WITHIN), *same, _text(at - REPEATED_WITHIN)),
        )
        return bool(changed.rowcount)

    def _people(self, where: str, values: Sequence[Any]) -> list[Known]:
        asked = f"SELECT name, role, headings, added_at, password_hash FROM account_users {where}"
        return [
            Known(
                User(name, cast(Role, role), tuple(json.loads(headings)), utc_moment(added_at)),
                password_hash,
            )
            for name, role, headings, added_at, password_hash in self._rows(asked, values)
        ]

    def _rows(self, statement: str, values: Sequence[Any]) -> list[tuple[Any, ...]]:
        with self._transaction() as cursor:
            found: list[tuple[Any, ...]] = cursor.execute(
                self._marked(statement), tuple(values)
            ).fetchall()
            return found

    def _run(self, statement: str, values: Sequence[Any]) -> int:
        with self._transaction() as cursor:
            return int(cursor.execute(self._marked(statement), tuple(values)).rowcount)


def _text(moment: dt.datetime | None) -> str:
    return "" if moment is None else utc_text(moment)


def _bounded(words: str) -> str:
    """Shorten what is kept, and take out what a database cannot hold."""
    return words.replace("\x00", "").encode("utf-8", "replace").decode()[:TEXT_AT_MOST]


def _token(row: Sequence[Any]) -> Token:
    token_id, name, label, scopes, made_at, expires_at, revoked_at = row
    return Token(
        token_id, name, label, tuple(cast(Right, scope) for scope in scopes.split()),
        utc_moment(made_at), utc_moment(expires_at),
        utc_moment(revoked_at) if revoked_at else None,
    )  # fmt: skip


def _try(row: Sequence[Any]) -> Try:
    at, who, address, what, outcome, why, times, last_at = row
    return Try(utc_moment(at), who, address, what, outcome, why, times, utc_moment(last_at))
