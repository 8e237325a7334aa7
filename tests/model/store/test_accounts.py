"""What is kept of accounts, wherever it is kept: one body of tests for every place."""

from __future__ import annotations

import dataclasses
import datetime as dt
import importlib
import stat

import pytest

from model.accounts import Token, Try, User
from model.membership import Known, Session
from model.problems import StoreError
from model.store import open_accounts
from tests.model.store.test_postgres import url  # noqa: F401 - a fixture

NOON = dt.datetime(2026, 7, 1, 19, 0, tzinfo=dt.UTC)
INES = Known(User("Ines Alder", "superintendent", ("h1", "h2"), NOON), "hash-1")
BRAM = Known(User("Bram Oskrey", "owner", (), NOON), "hash-1")
TOKEN = Token("ab12", "Ines Alder", "script", ("read", "record"), NOON, NOON.replace(month=8))


class AccountPromises:
    """Tests of a place; a subclass gives ``target`` as a fixture."""

    @pytest.fixture
    def book(self, target):
        opened = open_accounts(target)
        yield opened
        opened.close()

    def test_a_person_comes_back_as_kept(self, book):
        book.add_user(INES)
        assert book.known("ines alder") == INES
        assert book.users() == [INES.user]
        assert book.known("nobody") is None

    def test_nobody_takes_the_place_of_who_is_there(self, book):
        assert book.add_user(INES)
        assert not book.add_user(Known(User("INES Alder", "administrator"), "hash-9"))
        assert book.known("ines alder") == INES

    def test_a_change_replaces_what_was(self, book):
        book.add_user(INES)
        other = Known(dataclasses.replace(INES.user, role="owner", headings=()), "hash-2")
        assert book.change_role(other.user)
        assert book.change_password("ines alder", "hash-2")
        assert book.users() == [other.user]
        assert book.known("ines alder") == other

    def test_a_change_of_who_was_removed_meanwhile_brings_nobody_back(self, book):
        assert not book.change_role(INES.user)
        assert not book.change_password("ines alder", "hash-2")
        assert not book.open_session("d1", Session("Ines Alder", NOON, NOON), "hash-1")
        assert not book.put_token(TOKEN, "d2")
        assert (book.users(), book.session("d1"), book.tokens()) == ([], None, [])

    def test_a_password_that_was_another_meanwhile_is_left_alone(self, book):
        book.add_user(INES)
        assert not book.change_password("ines alder", "hash-3", was="hash-2")
        assert not book.open_session("d1", Session("Ines Alder", NOON, NOON), "hash-2")
        assert book.known("ines alder") == INES
        assert book.change_password("ines alder", "hash-3", was="hash-1")

    def test_a_token_is_not_made_in_a_session_that_was_ended_meanwhile(self, book):
        book.add_user(INES)
        assert not book.put_token(TOKEN, "d1", session="d9")
        book.open_session("d9", Session("Ines Alder", NOON, NOON), "hash-1")
        assert book.put_token(TOKEN, "d1", session="d9")

    def test_sessions_come_back_and_end(self, book):
        first, second = Session("Ines Alder", NOON, NOON), Session("Bram Oskrey", NOON, NOON)
        book.add_user(INES)
        book.add_user(BRAM)
        book.open_session("d1", first, "hash-1")
        book.open_session("d2", first, "hash-1")
        book.open_session("d3", second, "hash-1")
        book.end_sessions("ines alder", "d1")
        assert [book.session(d) for d in ("d1", "d2", "d3")] == [None, first, second]
        book.end_sessions("ines alder")
        assert [book.session(d) for d in ("d2", "d3")] == [None, second]

    def test_when_a_session_was_seen_is_kept(self, book):
        book.add_user(INES)
        book.open_session("d1", Session("Ines Alder", NOON, NOON), "hash-1")
        later = NOON.replace(hour=20)
        book.see_session("d1", later)
        assert book.session("d1") == Session("Ines Alder", NOON, later)

    def test_tokens_come_back_and_are_revoked_once(self, book):
        book.add_user(INES)
        book.put_token(TOKEN, "d1")
        assert book.tokens("d1") == book.tokens() == [TOKEN]
        assert book.tokens("d2") == []
        assert book.revoke_tokens(NOON, token_id="ab12") == 1
        assert book.revoke_tokens(NOON, "ines alder") == 0
        assert book.tokens() == [dataclasses.replace(TOKEN, revoked_at=NOON)]

    def test_who_is_removed_leaves_no_session_and_no_token(self, book):
        book.add_user(INES)
        book.open_session("d1", Session("Ines Alder", NOON, NOON), "hash-1")
        book.put_token(TOKEN, "d2")
        book.remove_user("ines alder")
        assert (book.users(), book.session("d1"), book.tokens()) == ([], None, [])

    def test_the_trail_comes_back_latest_first(self, book):
        done = Try(NOON, "Ines Alder", "here", "sign in", "done", "", 1, NOON)
        denied = Try(NOON, "", "there", "GET /", "denied", "not signed in", 1, NOON)
        book.note(done)
        book.note(denied)
        assert book.trail(10) == [denied, done]
        assert book.trail(1) == [denied]
        assert book.trail(10, denied_only=True) == [denied]

    def test_what_strangers_send_is_shortened_and_cannot_break_the_trail(self, book):
        odd = "\x00'; DROP TABLE account_trail; --" + "\ud800" + "x" * 10_000
        book.note(Try(NOON, odd, odd, odd, "denied", odd))
        (line,) = book.trail(10)
        assert len(line.why) == 500
        assert line.user.startswith("'; DROP TABLE")


class KeptAccountPromises(AccountPromises):
    def test_all_of_it_is_there_after_opening_again(self, book, target):
        book.add_user(INES)
        again = open_accounts(target)
        assert again.users() == [INES.user]
        again.close()


class TestMemory(AccountPromises):
    @pytest.fixture
    def target(self):
        return ":memory:"


class TestSqlite(KeptAccountPromises):
    @pytest.fixture
    def target(self, tmp_path):
        return tmp_path / "accounts.sqlite"

    def test_nobody_else_on_the_machine_can_read_the_file(self, book, target):
        book.add_user(INES)
        assert stat.S_IMODE(target.stat().st_mode) == 0o600

    def test_a_file_of_a_newer_version_is_refused(self, book, target):
        book._connection.execute("PRAGMA user_version = 99")
        with pytest.raises(StoreError, match="newer version"):
            open_accounts(target)

    def test_a_file_that_is_something_else_is_refused_in_plain_words(self, tmp_path):
        other = tmp_path / "accounts.sqlite"
        other.write_text("these are no accounts at all, only a text of some length")
        with pytest.raises(StoreError, match="cannot be used"):
            open_accounts(other)

    def test_a_missing_folder_is_said(self, tmp_path):
        with pytest.raises(StoreError, match="does not exist"):
            open_accounts(tmp_path / "nowhere" / "accounts.sqlite")


@pytest.mark.postgres
class TestPostgres(KeptAccountPromises):
    @pytest.fixture
    def target(self, url):  # noqa: F811
        importlib.import_module("psycopg")
        return url
