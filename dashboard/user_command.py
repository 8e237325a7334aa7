"""``viaduct user …``: who may come in, and what was tried.

Whoever may run commands on the machine that serves a project looks after its users; no command
asks for a password of one's own. Passwords are typed unseen, or come from standard input.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from dashboard.command_words import AS_JSON, DATABASE, FOLDER, print_json, says_what_is_wrong
from model.accounts import EVERY_HEADING, ROLES, TOKEN_SCOPES, Role, Token, Try, User
from model.project import Project

NAME = click.argument("name")
ROLE = click.option("--role", type=click.Choice(ROLES), required=True, help="What they may do.")
HEADINGS = click.option(
    "--heading", "headings", multiple=True, metavar="KEY", help="A superintendent's; repeatable."
)
EVERYWHERE = click.option("--every-heading", is_flag=True, help="All of them, also later ones.")


@click.group()
def user() -> None:
    """Say who may come in, and see what was tried."""


@user.command()
@FOLDER
@NAME
@ROLE
@HEADINGS
@EVERYWHERE
@DATABASE
@says_what_is_wrong
def add(
    folder: Path,
    name: str,
    role: Role,
    headings: tuple[str, ...],
    every_heading: bool,
    database: str | None,
) -> None:
    """Add a person; the password is asked for, or read from standard input."""
    with Project.open(folder, database) as project:
        added = project.membership.add(name, role, _password(), _all(headings, every_heading))
    click.echo(f"{added.name} may sign in as {_words(added)}")


@user.command("list")
@FOLDER
@DATABASE
@AS_JSON
@says_what_is_wrong
def list_users(folder: Path, database: str | None, as_json: bool) -> None:
    """Say who may sign in."""
    with Project.open(folder, database) as project:
        users = project.membership.users()
    if as_json:
        print_json({"users": [_user_record(one) for one in users]})
        return
    for one in users:
        click.echo(f"{one.name:<30} {_words(one)}")
    if not users:
        click.echo("There are no users: whoever sits at this machine may do everything.")


@user.command()
@FOLDER
@NAME
@ROLE
@HEADINGS
@EVERYWHERE
@DATABASE
@says_what_is_wrong
def role(
    folder: Path,
    name: str,
    role: Role,
    headings: tuple[str, ...],
    every_heading: bool,
    database: str | None,
) -> None:
    """Give a person another role, or other headings."""
    with Project.open(folder, database) as project:
        changed = project.membership.set_role(name, role, _all(headings, every_heading))
    click.echo(f"{changed.name} is {_words(changed)}")


@user.command()
@FOLDER
@NAME
@DATABASE
@says_what_is_wrong
def password(folder: Path, name: str, database: str | None) -> None:
    """Give a person another password; signs out everywhere and revokes the tokens."""
    with Project.open(folder, database) as project:
        project.membership.user(name)
        changed = project.membership.set_password(name, _password())
    click.echo(f"{changed.name} has another password and is signed out everywhere")


@user.command("sign-out")
@FOLDER
@NAME
@DATABASE
@says_what_is_wrong
def sign_out(folder: Path, name: str, database: str | None) -> None:
    """Sign a person out everywhere and revoke the tokens."""
    with Project.open(folder, database) as project:
        found = project.membership.user(name)
        project.membership.sign_out_everywhere(found)
    click.echo(f"{found.name} is signed out everywhere")


@user.command()
@FOLDER
@NAME
@DATABASE
@says_what_is_wrong
def remove(folder: Path, name: str, database: str | None) -> None:
    """Take a person away; what they recorded stays in the log under their name."""
    with Project.open(folder, database) as project:
        removed = project.membership.remove(name)
        left = project.membership.in_use()
    click.echo(f"{removed.name} may not sign in any more")
    if not left:
        click.echo("There are no users now: whoever sits at this machine may do everything.")


@user.command()
@FOLDER
@NAME
@click.option("--label", required=True, help="What it is for.")
@click.option("--scope", "scopes", type=click.Choice(TOKEN_SCOPES), multiple=True, required=True)
@click.option("--days", default=30, show_default=True, help="Calendar days until it expires.")
@DATABASE
@says_what_is_wrong
def token(
    folder: Path, name: str, label: str, scopes: tuple[str, ...], days: int, database: str | None
) -> None:
    """Make a token with which a program uses the API in a person's name.

    The token alone goes to standard output; it cannot be shown again.
    """
    with Project.open(folder, database) as project:
        text, made = project.membership.make_token(name, label, scopes, days)
    click.echo(f"token {made.token_id}, until {made.expires_at:%Y-%m-%d %H:%M} UTC:", err=True)
    click.echo(text)


@user.command()
@FOLDER
@DATABASE
@AS_JSON
@says_what_is_wrong
def tokens(folder: Path, database: str | None, as_json: bool) -> None:
    """Say which tokens there are; the tokens themselves are not kept."""
    with Project.open(folder, database) as project:
        made = project.membership.tokens()
    if as_json:
        print_json({"tokens": [_token_record(one) for one in made]})
        return
    for one in made:
        state = "revoked" if one.revoked_at else f"until {one.expires_at:%Y-%m-%d}"
        click.echo(f"{one.token_id}  {one.user:<24} {', '.join(one.scopes):<20} {state:<18} "
                   f"{one.label}")  # fmt: skip


@user.command()
@FOLDER
@click.argument("token_id")
@DATABASE
@says_what_is_wrong
def revoke(folder: Path, token_id: str, database: str | None) -> None:
    """Revoke a token."""
    with Project.open(folder, database) as project:
        project.membership.revoke_token(token_id)
    click.echo(f"token {token_id} is revoked")


@user.command()
@FOLDER
@click.option("--last", default=100, show_default=True, type=click.IntRange(1, 1_000_000))
@click.option("--denied", is_flag=True, help="Only what was denied.")
@DATABASE
@AS_JSON
@says_what_is_wrong
def audit(folder: Path, last: int, denied: bool, database: str | None, as_json: bool) -> None:
    """Show the audit trail, latest first: sign-ins, changes of users, denied tries."""
    with Project.open(folder, database) as project:
        lines = project.membership.trail(last, denied_only=denied)
    if as_json:
        print_json({"audit": [_try_record(line) for line in lines]})
        return
    for line in lines:
        times = f" ×{line.times}" if line.times > 1 else ""
        click.echo(f"{line.at:%Y-%m-%d %H:%M:%S} UTC  {line.outcome:<6} {line.user or '-':<20} "
                   f"{line.address:<16} {line.what}: {line.why}{times}")  # fmt: skip


def _password() -> str:
    """Return a password typed twice unseen, or the first line of standard input."""
    if sys.stdin.isatty():
        typed: str = click.prompt("Password", hide_input=True, confirmation_prompt=True)
        return typed
    return sys.stdin.readline().rstrip("\r\n")


def _all(headings: Sequence[str], every_heading: bool) -> tuple[str, ...]:
    return (EVERY_HEADING,) if every_heading else tuple(headings)


def _words(one: User) -> str:
    if one.role != "superintendent":
        return one.role
    where = "every heading" if EVERY_HEADING in one.headings else ", ".join(one.headings)
    return f"{one.role} on {where}"


def _user_record(one: User) -> dict[str, Any]:
    return {
        "name": one.name,
        "role": one.role,
        "headings": list(one.headings),
        "added_at": one.added_at.isoformat() if one.added_at else None,
    }


def _token_record(one: Token) -> dict[str, Any]:
    return {
        "token_id": one.token_id,
        "user": one.user,
        "label": one.label,
        "scopes": list(one.scopes),
        "made_at": one.made_at.isoformat(),
        "expires_at": one.expires_at.isoformat(),
        "revoked_at": one.revoked_at.isoformat() if one.revoked_at else None,
    }


def _try_record(line: Try) -> dict[str, Any]:
    return {
        "at": line.at.isoformat(),
        "user": line.user or None,
        "address": line.address or None,
        "what": line.what,
        "outcome": line.outcome,
        "why": line.why,
        "times": line.times,
        "last_at": line.last_at.isoformat() if line.last_at else None,
    }
