"""Signing in, staying signed in, tokens, and the trail of it all."""

import datetime as dt
import threading

import pytest

from model.membership import (
    COMMAND_LINE,
    SIGN_IN,
    UNKNOWN,
    WRONG_BY_ADDRESS,
    WRONG_BY_NAME,
    WRONG_BY_NAME_HERE,
    Membership,
    SignInRefused,
    TooManyTries,
)
from model.problems import InputError
from model.store import open_accounts
from tests.model.people import PASSWORD, QUICK, SetClock, a_membership

HERE, THERE = "203.0.113.7", "198.51.100.9"
"""Addresses set aside for documentation (RFC 5737)."""


@pytest.fixture
def clock():
    return SetClock()


@pytest.fixture
def people(clock):
    made = a_membership(clock)
    made.add("Ines Alder", "superintendent", PASSWORD, ["h1"])
    made.add("Bram Oskrey", "owner", PASSWORD)
    return made


def wrong(people, name="Ines Alder", address=HERE, times=1):
    for _ in range(times):
        with pytest.raises(SignInRefused):
            people.sign_in(name, "not this one at all", address)


def denials(people):
    return [line for line in people.trail(1000) if line.outcome == "denied"]


# Passwords


def test_name_and_password_open_a_session(people):
    key, user = people.sign_in("ines  ALDER", PASSWORD, HERE)
    assert user.name == "Ines Alder"
    assert people.of_session(key) == user


def test_a_wrong_password_opens_nothing_and_stands_in_the_trail(people):
    wrong(people)
    (line,) = denials(people)
    assert (line.user, line.address, line.what) == ("Ines Alder", HERE, SIGN_IN)


def test_an_unknown_name_is_not_kept_for_it_may_be_a_password(people):
    wrong(people, name="wet plywood at six")
    told = denials(people)[0].user
    assert told.startswith(UNKNOWN)
    assert "plywood" not in told


def test_a_password_of_any_length_and_sign_is_only_wrong(people):
    for odd in ("", "x" * 100_000, "\x00", "\ud800", "\u202e"):
        with pytest.raises(SignInRefused):
            people.sign_in("Bram Oskrey", odd, HERE)


def test_passwords_are_kept_as_argon2id_hashes_and_keys_as_digests():
    book = open_accounts(":memory:")
    people = a_membership(book=book)
    people.add("Ines Alder", "owner", PASSWORD)
    key, _ = people.sign_in("Ines Alder", PASSWORD, HERE)
    text, _ = people.make_token("Ines Alder", "script", ["read"], 30)
    kept = "\n".join(book._connection.iterdump())
    assert "$argon2id$" in kept
    for secret in (PASSWORD, key, text, text.split("_", 2)[2]):
        assert secret not in kept


def test_the_hashes_in_use_are_the_librarys_own_strength():
    # RFC 9106, section 4, second recommended option: t=3, m=64 MiB, p=4.
    people = a_membership()
    strong = type(people)(open_accounts(":memory:"), SetClock())._hasher
    assert (strong.time_cost, strong.memory_cost, strong.parallelism) == (3, 65536, 4)


# The throttle


def test_after_some_wrong_passwords_the_right_one_has_to_wait_too(people, clock):
    wrong(people, times=WRONG_BY_NAME_HERE)
    with pytest.raises(TooManyTries) as throttled:
        people.sign_in("Ines Alder", PASSWORD, HERE)
    assert 0 < throttled.value.wait_s <= 15 * 60
    clock.later(seconds=throttled.value.wait_s + 1)
    people.sign_in("Ines Alder", PASSWORD, HERE)


def test_somebody_elsewhere_cannot_lock_a_person_out_with_a_few_tries(people):
    wrong(people, address=THERE, times=WRONG_BY_NAME_HERE)
    people.sign_in("Ines Alder", PASSWORD, HERE)


def test_trying_many_names_from_one_address_is_throttled(people):
    for number in range(WRONG_BY_ADDRESS):
        wrong(people, name=f"Somebody {number}")
    with pytest.raises(TooManyTries):
        people.sign_in("Bram Oskrey", PASSWORD, HERE)
    people.sign_in("Bram Oskrey", PASSWORD, THERE)


def test_trying_one_name_from_many_addresses_is_throttled(people):
    for number in range(WRONG_BY_NAME):
        wrong(people, address=f"203.0.113.{number}")
    with pytest.raises(TooManyTries):
        people.sign_in("Ines Alder", PASSWORD, THERE)


def test_the_throttle_does_not_tell_who_is_known_here(people):
    def outcomes(name):
        for _ in range(WRONG_BY_NAME_HERE + 2):
            with pytest.raises((SignInRefused, TooManyTries)) as refused:
                people.sign_in(name, "not this one at all", HERE)
            yield type(refused.value)

    assert list(outcomes("Ines Alder")) == list(outcomes("Nobody Known"))


def test_a_flood_of_made_up_names_is_one_line_that_counts(people):
    for number in range(WRONG_BY_ADDRESS):
        wrong(people, name=f"Somebody {number}")
    before = len(denials(people))
    for number in range(50):
        with pytest.raises(TooManyTries):
            people.sign_in(f"Anybody {number}", "not this one at all", HERE)
    assert len(denials(people)) == before + 1
    assert denials(people)[0].times == 50


def test_other_addresses_of_one_line_do_not_dodge_the_throttle(people):
    for number in range(WRONG_BY_NAME_HERE):
        wrong(people, address=f"2001:db8:0:1::{number + 1:x}")
    with pytest.raises(TooManyTries):
        people.sign_in("Ines Alder", PASSWORD, "2001:db8:0:1:ffff::9")
    people.sign_in("Ines Alder", PASSWORD, "2001:db8:0:2::1")


def test_nobody_is_locked_out_from_elsewhere_where_one_signed_in_lately(people, clock):
    people.sign_in("Ines Alder", PASSWORD, HERE)
    clock.later(days=29)
    for number in range(WRONG_BY_NAME):
        wrong(people, address=f"198.51.100.{number}")
    people.sign_in("Ines Alder", PASSWORD, HERE)
    with pytest.raises(TooManyTries):
        people.sign_in("Ines Alder", PASSWORD, "192.0.2.1")


def test_tries_while_throttled_do_not_prolong_it(people, clock):
    wrong(people, times=WRONG_BY_NAME_HERE)
    clock.later(minutes=10)
    with pytest.raises(TooManyTries):
        people.sign_in("Ines Alder", PASSWORD, HERE)
    clock.later(minutes=6)
    people.sign_in("Ines Alder", PASSWORD, HERE)


def test_tries_side_by_side_are_all_counted(people):
    outcomes = []

    def attempt():
        try:
            people.sign_in("Ines Alder", "not this one at all", HERE)
        except (SignInRefused, TooManyTries) as refused:
            outcomes.append(type(refused))

    threads = [threading.Thread(target=attempt) for _ in range(16)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert outcomes.count(SignInRefused) == WRONG_BY_NAME_HERE
    assert outcomes.count(TooManyTries) == 16 - WRONG_BY_NAME_HERE


# Sessions


def test_a_session_ends_when_it_is_signed_out_of(people):
    key, user = people.sign_in("Ines Alder", PASSWORD, HERE)
    other, _ = people.sign_in("Ines Alder", PASSWORD, THERE)
    people.sign_out(user, key, HERE)
    assert people.of_session(key) is None
    assert people.of_session(other) == user


def test_signing_out_everywhere_ends_every_session_and_token_of_the_person_alone(people):
    keys = [people.sign_in("Ines Alder", PASSWORD, place)[0] for place in (HERE, THERE)]
    text, _ = people.make_token("Ines Alder", "script", ["read"], 30)
    others, _ = people.sign_in("Bram Oskrey", PASSWORD, HERE)
    people.sign_out_everywhere(people.user("Ines Alder"))
    assert [people.of_session(key) for key in keys] == [None, None]
    assert people.of_token(text) is None
    assert people.of_session(others) is not None


@pytest.mark.parametrize(
    "change",
    [
        lambda people: people.set_password("Ines Alder", "another night shift"),
        lambda people: people.remove("Ines Alder"),
    ],
)
def test_another_password_or_a_removal_ends_sessions_and_tokens_at_once(people, change):
    key, _ = people.sign_in("Ines Alder", PASSWORD, HERE)
    text, _ = people.make_token("Ines Alder", "script", ["read"], 30)
    change(people)
    assert people.of_session(key) is None
    assert people.of_token(text) is None
    wrong_now = PASSWORD
    with pytest.raises(SignInRefused):
        people.sign_in("Ines Alder", wrong_now, HERE)


def test_another_role_counts_from_the_next_request_on(people):
    key, _ = people.sign_in("Ines Alder", PASSWORD, HERE)
    people.set_role("Ines Alder", "owner")
    assert not people.of_session(key).may("record")


def test_an_unused_session_ends_after_a_week_and_a_used_one_after_a_month(people, clock):
    unused, _ = people.sign_in("Ines Alder", PASSWORD, HERE)
    used, _ = people.sign_in("Ines Alder", PASSWORD, HERE)
    for _ in range(9):
        clock.later(days=3)
        assert people.of_session(used) is not None
    assert people.of_session(unused) is None
    clock.later(days=3, seconds=1)
    assert people.of_session(used) is None


def test_a_removed_name_added_again_is_somebody_new(people):
    key, _ = people.sign_in("Ines Alder", PASSWORD, HERE)
    people.remove("Ines Alder")
    people.add("Ines Alder", "owner", PASSWORD)
    assert people.of_session(key) is None


def test_ones_own_password_changes_only_with_the_present_one(people):
    ines = people.user("Ines Alder")
    with pytest.raises(SignInRefused):
        people.change_password(ines, "not this one at all", "another night shift", HERE)
    people.change_password(ines, PASSWORD, "another night shift", HERE)
    people.sign_in("Ines Alder", "another night shift", HERE)


# Two at once: what was begun before a person was shut out changes nothing after it


class Meanwhile:
    """Hashes as tests do, and lets something else happen while it does."""

    def __init__(self):
        self.while_hashing = self.while_verifying = lambda: None

    def hash(self, password):
        self.while_hashing()
        return QUICK.hash(password)

    def verify(self, kept, password):
        QUICK.verify(kept, password)
        self.while_verifying()


@pytest.fixture
def at_once():
    """The same accounts twice: as the dashboard holds them and as the command line does."""
    book, hasher = open_accounts(":memory:"), Meanwhile()
    commands = a_membership(book=book)
    commands.add("Ines Alder", "superintendent", PASSWORD, ["h1"])
    return Membership(book, SetClock(), ("h1", "h2"), hasher), commands, hasher


def test_who_is_removed_while_changing_the_password_is_gone(at_once):
    people, commands, hasher = at_once
    ines = people.user("Ines Alder")
    hasher.while_hashing = lambda: commands.remove("Ines Alder")
    with pytest.raises(SignInRefused):
        people.change_password(ines, PASSWORD, "another night shift", HERE)
    assert commands.users() == []


def test_who_gets_another_role_while_changing_the_password_keeps_the_new_role(at_once):
    people, commands, hasher = at_once
    ines = people.user("Ines Alder")
    hasher.while_hashing = lambda: commands.set_role("Ines Alder", "owner")
    people.change_password(ines, PASSWORD, "another night shift", HERE)
    assert commands.user("Ines Alder").role == "owner"


def test_a_password_given_while_the_former_is_being_changed_or_signed_in_with_is_the_last(at_once):
    people, commands, hasher = at_once
    ines = people.user("Ines Alder")
    hasher.while_hashing = lambda: commands.set_password("Ines Alder", "given at the office")
    with pytest.raises(SignInRefused):
        people.change_password(ines, PASSWORD, "another night shift", HERE)
    commands.sign_in("Ines Alder", "given at the office", THERE)
    hasher.while_verifying = lambda: commands.set_password("Ines Alder", PASSWORD)
    with pytest.raises(SignInRefused):
        people.sign_in("Ines Alder", "given at the office", HERE)


def test_a_session_that_is_in_use_while_it_is_ended_does_not_come_back(people, clock):
    key, user = people.sign_in("Ines Alder", PASSWORD, HERE)

    def ending_meanwhile():
        people._clock = clock
        people.sign_out_everywhere(user)
        return clock() + dt.timedelta(hours=1)

    people._clock = ending_meanwhile
    people.of_session(key)
    assert people.of_session(key) is None


def test_a_session_that_was_ended_meanwhile_makes_no_token(people):
    key, user = people.sign_in("Ines Alder", PASSWORD, HERE)
    people.sign_out_everywhere(user)
    with pytest.raises(InputError):
        people.make_token("Ines Alder", "script", ["read"], 366, session=key, address=HERE)
    assert people.tokens() == []


# Tokens


def test_a_token_expires_to_the_second(people, clock):
    text, token = people.make_token("Ines Alder", "script", ["read", "record"], 30)
    assert people.of_token(text) == (people.user("Ines Alder"), token)
    clock.later(days=30, seconds=-1)
    assert people.of_token(text) is not None
    clock.later(seconds=1)
    assert people.of_token(text) is None


def test_a_revoked_token_opens_nothing(people):
    text, token = people.make_token("Ines Alder", "script", ["read"], 30)
    people.revoke_token(token.token_id)
    assert people.of_token(text) is None
    with pytest.raises(InputError, match="No token"):
        people.revoke_token(token.token_id)


def test_a_token_of_somebody_elses_making_opens_nothing(people):
    text, _ = people.make_token("Ines Alder", "script", ["read"], 30)
    for forged in (text[:-1], text + "x", "", "vpm__", text.upper()):
        assert people.of_token(forged) is None


# Who is there, and the trail


def test_nobody_can_be_added_twice(people):
    with pytest.raises(InputError, match="there already"):
        people.add("ines alder", "owner", PASSWORD)


@pytest.mark.parametrize("name", ["Nobody", ""])
def test_who_is_not_there_cannot_be_changed(people, name):
    for change in (
        lambda: people.set_role(name, "owner"),
        lambda: people.set_password(name, PASSWORD),
        lambda: people.remove(name),
        lambda: people.make_token(name, "x", ["read"], 1),
    ):
        with pytest.raises(InputError, match="Nobody is called"):
            change()


def test_every_change_stands_in_the_trail_latest_first(people):
    people.set_role("Ines Alder", "superintendent", ["h2"])
    people.make_token("Ines Alder", "script", ["read"], 7)
    people.remove("Bram Oskrey")
    told = [(line.what, line.address) for line in people.trail()]
    assert told == [
        ("user remove", COMMAND_LINE),
        ("token make", COMMAND_LINE),
        ("user role", COMMAND_LINE),
        ("user add", COMMAND_LINE),
        ("user add", COMMAND_LINE),
    ]


def test_what_a_person_changes_in_the_browser_is_noted_with_name_and_address(people):
    key, ines = people.sign_in("Ines Alder", PASSWORD, HERE)
    _, token = people.make_token("Ines Alder", "x", ["read"], 1, session=key, address=HERE)
    people.revoke_token(token.token_id, "Ines Alder", HERE)
    people.change_password(ines, PASSWORD, "another night shift", HERE)
    told = [(line.what, line.user, line.address) for line in people.trail(3)]
    assert told == [
        ("user password", "Ines Alder", HERE),
        ("token revoke", "Ines Alder", HERE),
        ("token make", "Ines Alder", HERE),
    ]


def test_the_same_denied_try_again_and_again_is_one_line_that_counts(people, clock):
    for _ in range(40):
        people.deny("", HERE, "GET /", "not signed in")
        clock.later(seconds=1)
    people.deny("", THERE, "GET /", "not signed in")
    clock.later(minutes=2)
    people.deny("", HERE, "GET /", "not signed in")
    lines = [(line.address, line.times) for line in denials(people)]
    assert lines == [(HERE, 1), (THERE, 1), (HERE, 40)]


def test_a_flood_that_goes_on_gets_a_new_line_every_minute(people, clock):
    for _ in range(150):
        people.deny("", HERE, "GET /", "not signed in")
        clock.later(seconds=1)
    lines = denials(people)
    assert sum(line.times for line in lines) == 150
    assert len(lines) == 3
    assert all(line.last_at - line.at <= dt.timedelta(minutes=1) for line in lines)
