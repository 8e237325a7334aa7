"""A small project with one person of each role, and requests in their name."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from dashboard.access import COOKIE
from dashboard.app import Settings, create_app
from model.clock import clock_starting_at
from model.project import Project
from model.store import open_store
from tests.model.builders import NOW, a_job
from tests.model.people import PASSWORD, SetClock, a_membership

HOME = "http://localhost"
ROLES = ("owner", "superintendent", "scheduler", "administrator")
ADDRESS = "203.0.113.7"
"""Set aside for documentation (RFC 5737)."""


class Visitors:
    """An app and everybody who may come.

    Parameters
    ----------
    folder
        An empty folder.
    users
        False for a project without users.
    users_only
        As in ``Settings``.
    project
        An open project with a folder of its own; a small one without files is made otherwise.
    """

    def __init__(
        self,
        folder: Path,
        *,
        users: bool = True,
        users_only: bool = False,
        project: Project | None = None,
    ) -> None:
        self.project = project or _without_files(folder)
        self.clock = SetClock()
        self.project.membership = a_membership(self.clock)
        self.app = create_app(self.project, Settings(users_only=users_only))
        # Errors of the app become answers, as they do where it is served.
        self.app.server.testing = False
        self.client = self.app.server.test_client(use_cookies=False)
        self.people = self.project.membership
        if users:
            for role in ROLES:
                headings = ["h1"] if role == "superintendent" else []
                self.people.add(role.title(), role, PASSWORD, headings)

    def signed_in(self, role: str) -> dict[str, str]:
        """Return the headers of a browser in which somebody is signed in."""
        key, _ = self.people.sign_in(role.title(), PASSWORD, ADDRESS)
        return {"Cookie": f"{COOKIE}={key}", "Origin": HOME}

    def token(self, role: str, *scopes: str, days: int = 30) -> dict[str, str]:
        """Return the headers of a program with a token."""
        text, _ = self.people.make_token(role.title(), "a script", scopes, days)
        return {"Authorization": f"Bearer {text}"}

    def headers(self, who: str) -> dict[str, str]:
        """Return the headers of a role, or of nobody."""
        return {"Origin": HOME} if who == "nobody" else self.signed_in(who)

    def send(self, method: str, path: str, who: str = "nobody", **more: Any) -> Any:
        """Send a request in somebody's name."""
        headers = {**self.headers(who), **more.pop("headers", {})}
        return self.client.open(path, method=method, headers=headers, base_url=HOME, **more)

    def denied(self) -> list[str]:
        """Return what was denied so far and why, earliest first."""
        lines = self.people.trail(1000, denied_only=True)
        return [f"{line.user or 'nobody'}: {line.what}: {line.why}" for line in reversed(lines)]


def _without_files(folder: Path) -> Project:
    job = a_job(units=4, headings=2, spans=2)
    site_clock = clock_starting_at(NOW.replace(tzinfo=job.timezone))
    return Project(folder, job, open_store(":memory:", site_clock), clock=site_clock)


def an_item(kind: str = "start", **more: Any) -> dict[str, str]:
    """One event as a page sends it."""
    item = {"event_id": f"test-{kind}", "at": "2026-03-02T08:00", "unit": "E01",
            "activity": "falsework", "kind": kind, "by": "R. Alder"}  # fmt: skip
    return {**item, **more}
