"""Who may do what, and which names, passwords and tokens can be."""

import itertools

import pytest

from model.accounts import (
    EVERY_HEADING,
    MAY,
    RIGHTS,
    ROLES,
    User,
    check_password,
    check_token,
    check_user,
    name_key,
)
from model.problems import InputError

HEADINGS = ("h1", "h2")


def fields(refused):
    return [problem.field for problem in refused.value.problems]


@pytest.mark.parametrize(
    ("role", "rights"),
    [
        ("owner", {"read"}),
        ("superintendent", {"read", "record"}),
        ("scheduler", {"read", "record", "plan"}),
        ("administrator", {"read", "record", "plan", "administer"}),
    ],
)
def test_each_role_may_do_what_the_table_says(role, rights):
    assert {right for right in RIGHTS if User("Ines", role).may(right)} == rights


def test_each_role_may_do_all_that_the_one_before_it_may():
    for lower, higher in itertools.pairwise(ROLES):
        assert MAY[lower] < MAY[higher]


def test_a_superintendent_records_on_the_headings_given_and_others_are_not_bound():
    assert User("Ines", "superintendent", ("h1",)).records_on == {"h1"}
    assert User("Ines", "superintendent", (EVERY_HEADING,)).records_on is None
    assert User("Ines", "scheduler").records_on is None
    assert User("Ines", "owner").records_on == frozenset()


@pytest.mark.parametrize(
    ("user", "wrong"),
    [
        (User("Ines", "superintendent"), ["heading"]),
        (User("Ines", "superintendent", ("h9",)), ["heading"]),
        (User("Ines", "owner", ("h1",)), ["heading"]),
        (User("Ines", "foreman"), ["role"]),
        (User("", "owner"), ["name"]),
        (User("<script>", "owner"), ["name"]),
        (User("x" * 61, "foreman"), ["name", "role"]),
        (User("two\nlines", "owner"), ["name"]),
    ],
)
def test_a_user_that_cannot_be_is_refused_with_everything_wrong(user, wrong):
    with pytest.raises(InputError) as refused:
        check_user(user, HEADINGS)
    assert fields(refused) == wrong


@pytest.mark.parametrize("name", ["Ines Alder", "J. O’Dell-Frost", "Łucja", "張偉", "R2", "i"])
def test_names_of_people_are_taken(name):
    check_user(User(name, "owner"), HEADINGS)


def test_capitals_and_blanks_do_not_make_another_name():
    assert name_key("  INES  alder") == name_key("Ines Alder")


@pytest.mark.parametrize(
    "password", ["short", "aaaaaaaaaaaaaaa", "abababababababab", "ines alder 2026", "x1y2" * 65]
)
def test_a_password_that_is_easily_guessed_or_endless_is_refused(password):
    with pytest.raises(InputError) as refused:
        check_password(password, "Ines Alder")
    assert fields(refused) == ["password"]


def test_a_few_words_make_a_password():
    check_password("wet plywood at six", "Ines Alder")


@pytest.mark.parametrize(
    ("role", "scopes", "days", "wrong"),
    [
        ("owner", ["record"], 30, ["scope"]),
        ("superintendent", ["plan"], 30, ["scope"]),
        ("administrator", ["administer"], 30, ["scope"]),
        ("owner", [], 0, ["scope", "days"]),
        ("owner", ["read"], 367, ["days"]),
        ("owner", ["read"], -1, ["days"]),
    ],
)
def test_a_token_can_do_no_more_than_its_person_and_does_not_last_for_ever(
    role, scopes, days, wrong
):
    with pytest.raises(InputError) as refused:
        check_token(scopes, days, User("Ines", role))
    assert fields(refused) == wrong
