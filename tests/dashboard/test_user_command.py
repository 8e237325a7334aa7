"""``viaduct user …``, ``daybook`` and who is served where, by the command line."""

import json

import pytest
from click.testing import CliRunner

from dashboard.command import main
from dashboard.serving import reached_by_others
from demo_project import copy_starter
from model.membership import Membership
from model.problems import ViaductError
from model.project import Project
from tests.model.people import PASSWORD, QUICK


@pytest.fixture
def folder(tmp_path, monkeypatch):
    copy_starter(tmp_path / "line")
    usual = Membership.__init__
    monkeypatch.setattr(
        Membership, "__init__",
        lambda self, book, clock, headings=(), hasher=None: usual(
            self, book, clock, headings, QUICK
        ),
    )  # fmt: skip
    return tmp_path / "line"


@pytest.fixture
def heading(folder):
    with Project.open(folder) as project:
        return project.job.headings[0].key


def run(*arguments, typed=PASSWORD):
    return CliRunner().invoke(main, [str(one) for one in arguments], input=f"{typed}\n")


def as_json(*arguments):
    return json.loads(run(*arguments, "--json").stdout)


def add(folder, name="Ines Alder", role="administrator", *more, **typed):
    return run("user", "add", folder, name, "--role", role, *more, **typed)


def test_people_are_added_listed_changed_and_removed(folder, heading):
    assert add(folder, "Ines Alder", "superintendent", "--heading", heading).exit_code == 0
    assert add(folder, "Bram Oskrey", "owner").exit_code == 0
    listed = as_json("user", "list", folder)["users"]
    assert [(one["name"], one["role"], one["headings"]) for one in listed] == [
        ("Bram Oskrey", "owner", []), ("Ines Alder", "superintendent", [heading]),
    ]  # fmt: skip
    assert run("user", "role", folder, "Bram Oskrey", "--role", "scheduler").exit_code == 0
    assert run("user", "remove", folder, "Ines Alder").exit_code == 0
    assert [one["role"] for one in as_json("user", "list", folder)["users"]] == ["scheduler"]


@pytest.mark.parametrize(
    ("more", "typed", "told"),
    [
        (("--role", "superintendent"), PASSWORD, "--every-heading"),
        (("--role", "superintendent", "--heading", "nowhere"), PASSWORD, "no heading"),
        (("--role", "owner"), "short", "fewer than 12"),
        (("--role", "owner"), "", "fewer than 12"),
        (("--role", "foreman"), PASSWORD, "foreman"),
    ],
)
def test_what_cannot_be_is_said_on_standard_error_with_exit_2(folder, more, typed, told):
    answer = run("user", "add", folder, "Ines Alder", *more, typed=typed)
    assert answer.exit_code == 2
    assert told in answer.stderr
    assert as_json("user", "list", folder) == {"users": []}


@pytest.mark.parametrize("command", ["role", "password", "remove", "sign-out", "token"])
def test_who_is_not_there_is_said(folder, command):
    more = {"role": ["--role", "owner"], "token": ["--label", "x", "--scope", "read"]}
    answer = run("user", command, folder, "Nobody", *more.get(command, []))
    assert answer.exit_code == 2
    assert "Nobody is called" in answer.stderr


def test_a_token_alone_goes_to_standard_output_and_is_revoked_by_its_id(folder):
    add(folder)
    made = run("user", "token", folder, "Ines Alder", "--label", "wall", "--scope", "read")
    text = made.stdout.strip()
    assert text.startswith("vpm_")
    assert "\n" not in text
    (listed,) = as_json("user", "tokens", folder)["tokens"]
    assert listed["token_id"] == text.split("_")[1]
    assert text not in json.dumps(listed)
    assert run("user", "revoke", folder, listed["token_id"]).exit_code == 0
    assert as_json("user", "tokens", folder)["tokens"][0]["revoked_at"]


def test_the_trail_shows_what_was_done_and_what_was_denied(folder):
    add(folder)
    with Project.open(folder) as project:
        project.membership.deny("", "203.0.113.7", "GET /", "not signed in")
    lines = as_json("user", "audit", folder)["audit"]
    assert [(line["what"], line["outcome"]) for line in lines] == [
        ("GET /", "denied"), ("user add", "done"),
    ]  # fmt: skip
    assert "203.0.113.7" in run("user", "audit", folder, "--denied").stdout
    assert "user add" not in run("user", "audit", folder, "--denied").stdout


def test_accounts_lie_beside_the_log_and_never_in_it(folder):
    add(folder)
    assert (folder / "accounts.sqlite").exists()
    assert b"Ines Alder" not in (folder / "log.sqlite").read_bytes()


def test_reading_commands_make_no_accounts(folder):
    assert run("status", folder).exit_code == 0
    assert not (folder / "accounts.sqlite").exists()


def test_the_day_book_prints_and_is_json(folder):
    told = run("daybook", folder, "--date", "2026-03-02")
    assert told.exit_code == 0
    assert "Nothing was recorded" in told.stdout
    assert as_json("daybook", folder, "--date", "2026-03-02")["day"] == "2026-03-02"
    assert run("daybook", folder, "--date", "someday").exit_code == 2


# Who is served


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "203.0.113.7", "viaduct.example"])
def test_elsewhere_than_on_this_machine_it_is_served_only_with_users(folder, host):
    answer = run("serve", folder, "--host", host)
    assert answer.exit_code == 2
    assert "no users" in answer.stderr
    assert "viaduct user add" in answer.stderr
    add(folder)
    with Project.open(folder) as project:
        assert reached_by_others(project, host, None)


def test_behind_a_proxy_others_reach_it_so_it_needs_users_too(folder):
    answer = run("serve", folder, "--proxy", "127.0.0.1")
    assert answer.exit_code == 2
    assert "behind a proxy" in answer.stderr


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.0.0.2"])
def test_on_this_machine_it_is_served_without_users(folder, host):
    with Project.open(folder) as project:
        assert not reached_by_others(project, host, None)


def test_the_demo_is_no_exception(tmp_path):
    answer = run("demo", "--folder", tmp_path / "demo", "--host", "0.0.0.0", "--no-open")
    assert answer.exit_code == 2
    assert "no users" in answer.stderr


def test_the_refusal_is_one_of_ours(folder):
    with Project.open(folder) as project, pytest.raises(ViaductError):
        reached_by_others(project, "0.0.0.0", None)
