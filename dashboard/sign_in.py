"""Signing in and out, and one's own account: plain pages and forms."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from typing import Any

import dash
import flask
import werkzeug
from markupsafe import Markup

from dashboard import access
from dashboard.parts.plain_page import plain_page
from model.accounts import EVERY_HEADING, SHORTEST_PASSWORD, TOKEN_SCOPES, Token, User
from model.clock import wall_clock
from model.membership import SIGNED_IN_AT_MOST, SignInRefused, TooManyTries
from model.problems import InputError, ViaductError
from model.project import Project

SIGN_IN = Markup(
    '{told}<form method="post" action="/sign-in" class="form">'
    "<label><span>Name</span>"
    '<input name="name" autocomplete="username" required autofocus></label>'
    "<label><span>Password</span>"
    '<input type="password" name="password" autocomplete="current-password"'
    " required></label>"
    '<input type="hidden" name="next" value="{next}">'
    '<button class="button main">Sign in</button></form>'
    '<p class="quiet">No account yet, or the password is lost: ask whoever looks after the '
    "users of this project.</p>"
)
AT_ONCE = 6
"""Passwords are checked one at a time; those that wait for it leave room for who is signed in."""

JUST_SIGNED_OUT = "signed_out"
SIGNED_OUT = Markup(
    "You are signed out. What was filled in and not sent stays in this browser."
    '<script type="module" src="/assets/entry/signed_out.js"></script>'
)
"""Who takes this phone next sees nothing of the list it kept."""

BANNER = Markup('<div class="banner {tone}" role="{role}">{words}</div>')
BUTTON = Markup(
    '<form method="post" action="{action}"><button class="button">{words}</button></form>'
)
ACCOUNT = Markup(
    "{told}<p>{name}, {role}{where}.</p>"
    '<div class="form-row">{sign_out}{everywhere}</div>'
    '<p class="quiet">Everywhere means every phone and computer, and every token too.</p>'
    "<h2>Change the password</h2>"
    '<form method="post" action="/account/password" class="form">'
    "<label><span>Present password</span>"
    '<input type="password" name="old" autocomplete="current-password" required>'
    "</label><label><span>New password, at least {shortest} "
    'characters</span><input type="password" name="new" '
    'autocomplete="new-password" required></label>'
    '<button class="button">Change it and sign in again</button></form>'
    "<h2>Tokens for programs</h2>{tokens}"
    '<form method="post" action="/account/tokens" class="form">'
    "<label><span>What it is for</span>"
    '<input name="label" required></label>'
    "<fieldset><legend>What it may do</legend>{scopes}"
    "</fieldset>"
    "<label><span>Days until it expires</span>"
    '<input name="days" inputmode="numeric" value="30" required>'
    '</label><button class="button">Make a token</button></form>'
    '<p><a href="/">Back to the map</a></p>'
)
SCOPE = Markup('<label><input type="checkbox" name="scope" value="{scope}"> {scope}</label> ')
TOKEN = Markup(
    "<li><strong>{label}</strong> ({token_id}): {scopes}, until {until}{state} {revoke}</li>"
)


def register(app: dash.Dash, project: Project) -> None:
    """Open the addresses of signing in and of one's account."""
    _register_sign_in(app.server, project)
    _register_sign_out(app.server, project)
    _register_account(app.server, project)
    _register_tokens(app.server, project)


def _register_sign_in(server: flask.Flask, project: Project) -> None:
    membership, room = project.membership, threading.BoundedSemaphore(AT_ONCE)

    def show_sign_in() -> flask.Response:
        onward = local_path(flask.request.args.get("next", "/"))
        if JUST_SIGNED_OUT in flask.request.args:
            return _sign_in_page(onward, told=SIGNED_OUT, tone="done")
        return _sign_in_page(onward)

    def sign_in() -> Any:
        form = flask.request.form
        onward = local_path(form.get("next", "/"))
        if not _safe_to_send_passwords():
            return _sign_in_page(onward, 403, "This address is not encrypted (http), so a "
                                 "password typed here could be read on the way. Open it with "
                                 "https.")  # fmt: skip
        if not room.acquire(blocking=False):
            access.note_denial(project, "too many at once")
            return _sign_in_page(onward, 503, "Many sign in at this moment. Try again.")
        try:
            return proved(form, onward)
        finally:
            room.release()

    def proved(form: Mapping[str, str], onward: str) -> Any:
        try:
            key, _ = membership.sign_in(
                form.get("name", ""), form.get("password", ""), access.sender()
            )
        except SignInRefused as refused:
            return _sign_in_page(onward, 401, str(refused))
        except TooManyTries as throttled:
            answer = _sign_in_page(onward, 429, str(throttled))
            answer.headers["Retry-After"] = str(throttled.wait_s)
            return answer
        end_former_session()
        return _with_session(flask.redirect(onward, code=303), key)

    def end_former_session() -> None:
        former = membership.of_session(_session_key())
        if former:
            membership.sign_out(former, _session_key(), access.sender())

    server.add_url_rule("/sign-in", "show_sign_in", show_sign_in, methods=["GET"])
    server.add_url_rule("/sign-in", "sign_in", sign_in, methods=["POST"])


def _register_sign_out(server: flask.Flask, project: Project) -> None:
    membership = project.membership

    def sign_out() -> Any:
        user = access.asker()
        if user:
            membership.sign_out(user, _session_key(), access.sender())
        return _without_session()

    def sign_out_everywhere() -> Any:
        user = access.asker()
        if user:
            membership.sign_out_everywhere(user, access.sender())
        return _without_session()

    server.add_url_rule("/sign-out", "sign_out", sign_out, methods=["POST"])
    server.add_url_rule("/sign-out-everywhere", "sign_out_everywhere", sign_out_everywhere,
                        methods=["POST"])  # fmt: skip


def _register_account(server: flask.Flask, project: Project) -> None:
    membership = project.membership

    def account() -> flask.Response:
        return _account_page(project)

    def change_password() -> Any:
        user, form = access.asker(), flask.request.form
        if user is None:
            return _account_page(project, "This project has no users.", 409)
        try:
            membership.change_password(
                user, form.get("old", ""), form.get("new", ""), access.sender()
            )
        except (SignInRefused, TooManyTries, InputError) as refused:
            return _account_page(project, _plainly(refused), 422)
        return _without_session()

    server.add_url_rule("/account", "account", account, methods=["GET"])
    server.add_url_rule("/account/password", "change_password", change_password, methods=["POST"])


def _register_tokens(server: flask.Flask, project: Project) -> None:
    membership = project.membership

    def make_token() -> Any:
        user, form = access.asker(), flask.request.form
        if user is None:
            return _account_page(project, "This project has no users.", 409)
        days = form.get("days", "").strip()
        try:
            text, _ = membership.make_token(
                user.name, form.get("label", ""), form.getlist("scope"),
                int(days) if days.isascii() and days.isdigit() and len(days) < 9 else 0,
                session=_session_key(), address=access.sender(),
            )  # fmt: skip
        except InputError as refused:
            return _account_page(project, _plainly(refused), 422)
        told = Markup("Copy it now, it is not shown again: <code>{}</code>").format(text)
        return _account_page(project, told, tone="done")

    def revoke_token(token_id: str) -> Any:
        user = access.asker()
        if user is None or token_id not in [t.token_id for t in _tokens_of(project, user)]:
            access.note_denial(project, "no token of theirs")
            return _account_page(project, "This is no token of yours.", 404)
        try:
            membership.revoke_token(token_id, user.name, access.sender())
        except InputError as refused:
            return _account_page(project, _plainly(refused), 422)
        return _account_page(project, "The token is revoked.", tone="done")

    server.add_url_rule("/account/tokens", "make_token", make_token, methods=["POST"])
    server.add_url_rule("/account/tokens/<token_id>/revoke", "revoke_token", revoke_token,
                        methods=["POST"])  # fmt: skip


def local_path(wanted: str) -> str:
    r"""Return a path of this app to go on to; anything that leads elsewhere becomes the map.

    Examples
    --------
    >>> local_path("/entry?heading=east_1"), local_path("//elsewhere.test"), local_path("/\\x")
    ('/entry?heading=east_1', '/', '/')
    """
    sound = wanted.startswith("/") and not wanted.startswith(("//", "/\\"))
    return wanted if sound and wanted.isprintable() and wanted.isascii() else "/"


def _safe_to_send_passwords() -> bool:
    host = flask.request.host.rsplit(":", 1)[0] if ":" in flask.request.host else flask.request.host
    return flask.request.is_secure or access.is_loopback(host)


def _session_key() -> str:
    return flask.request.cookies.get(access.COOKIE, "")


def _plainly(refused: ViaductError) -> str:
    if isinstance(refused, InputError):
        return " ".join(f"{problem.message} {problem.fix}" for problem in refused.problems)
    return str(refused)


def _with_session(answer: werkzeug.Response, key: str) -> werkzeug.Response:
    answer.set_cookie(
        access.COOKIE,
        key,
        max_age=SIGNED_IN_AT_MOST,
        secure=True,
        httponly=True,
        samesite="Lax",
    )
    return answer


def _without_session() -> werkzeug.Response:
    answer = flask.redirect(f"{access.SIGN_IN_PATH}?{JUST_SIGNED_OUT}=1", code=303)
    # Photos and footprints are kept for good; not for who takes this phone next. What the
    # shift entry keeps is no part of that cache.
    answer.headers["Clear-Site-Data"] = '"cache"'
    answer.delete_cookie(access.COOKIE, secure=True, httponly=True, samesite="Lax")
    return answer


def _sign_in_page(
    onward: str, status: int = 200, told: str | Markup = "", tone: str = "error"
) -> flask.Response:
    return plain_page("Sign in", SIGN_IN.format(told=_banner(told, tone), next=onward), status)


def _banner(told: str | Markup, tone: str) -> Markup:
    role = "alert" if tone == "error" else "status"
    return BANNER.format(tone=tone, role=role, words=told) if told else Markup("")


def _account_page(
    project: Project, told: str | Markup = "", status: int = 200, tone: str = "error"
) -> flask.Response:
    user = access.asker()
    if user is None:
        return plain_page("Your account", told or "This project has no users: whoever sits at "
                          "this machine may do everything.", status)  # fmt: skip
    body = ACCOUNT.format(
        told=_banner(told, tone),
        name=user.name,
        role=user.role,
        where=_where(user),
        sign_out=BUTTON.format(action="/sign-out", words="Sign out"),
        everywhere=BUTTON.format(action="/sign-out-everywhere", words="Sign out everywhere"),
        shortest=SHORTEST_PASSWORD,
        tokens=_token_list(project, user),
        scopes=Markup("").join(SCOPE.format(scope=s) for s in TOKEN_SCOPES if user.may(s)),
    )
    return plain_page("Your account", body, status)


def _where(user: User) -> str:
    if user.role != "superintendent":
        return ""
    return ", records on " + (
        "every heading" if EVERY_HEADING in user.headings else ", ".join(user.headings)
    )


def _tokens_of(project: Project, user: User | None) -> list[Token]:
    return [t for t in project.membership.tokens() if user and t.user == user.name]


def _token_list(project: Project, user: User) -> Markup:
    lines = []
    for token in _tokens_of(project, user):
        standing = token.revoked_at is None
        action = f"/account/tokens/{token.token_id}/revoke"
        lines.append(
            TOKEN.format(
                label=token.label,
                token_id=token.token_id,
                scopes=", ".join(token.scopes),
                until=f"{wall_clock(token.expires_at, project.job.timezone):%d %b %Y}",
                state="" if standing else ", revoked",
                revoke=BUTTON.format(action=action, words="Revoke") if standing else "",
            )
        )
    return Markup("<ul>{}</ul>").format(Markup("").join(lines)) if lines else Markup("")
