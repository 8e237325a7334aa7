"""Serve an app until someone stops it."""

from __future__ import annotations

import gc
import logging
import socket
import threading
import time
import webbrowser
from collections.abc import Callable, Iterable
from typing import Any

import click
import dash
from waitress.server import create_server

from dashboard.access import is_loopback
from model.problems import ViaductError
from model.project import Project

THREADS = 8
LARGEST_BODY = 16 * 1024 * 1024
"""Bytes; nothing larger reaches the app, which has lower bounds of its own and says so in its own
words. Whoever sends is not known yet, and many may send at once: all of it lies on the disk
until it has come."""

CONNECTIONS = 500
"""Open at once. A browser keeps up to six open while it shows a page, and a phone with a thin
signal keeps one for long: a hundred of them would keep everybody else out."""

QUIET_S = 1.0
"""Seconds without a request after which nobody is taken to wait for a page."""

NOBODY_CAME_S = 10.0
"""… while nobody has come at all: the browser that was opened needs a while itself."""

PATIENCE_S = 300.0
"""Seconds after which what waits for quiet is done all the same: several open pages that ask for
news every second are never quiet."""

FORWARDED = {"x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"}


def reached_by_others(project: Project, host: str, proxy: str | None) -> bool:
    """Tell whether others than this machine can reach what is served.

    Parameters
    ----------
    project
        Has the accounts.
    host
        Where it would listen.
    proxy
        Address of a proxy in front, None without one.

    Raises
    ------
    ViaductError
        When others could and the project has no users.
    """
    others = proxy is not None or not is_loopback(host)
    if others and not project.membership.in_use():
        raise ViaductError(
            f"this project has no users, so it is served on this machine alone, not on {host}"
            f"{' behind a proxy' if proxy else ''}. Add one first: "
            f"viaduct user add {project.folder} NAME --role administrator"
        )
    return others


class Visits:
    """Hands requests on to an app and knows whether somebody waits for one.

    Parameters
    ----------
    app
        A WSGI application.
    clock
        Seconds that only go forward.
    """

    def __init__(
        self, app: Callable[..., Iterable[bytes]], clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._app, self._clock = app, clock
        self._counting = threading.Lock()
        self._waiting, self._came, self._since = 0, False, clock()

    def __call__(self, environ: Any, start_response: Any) -> Iterable[bytes]:
        """Answer a request."""
        self._count(1)
        try:
            return self._app(environ, start_response)
        finally:
            self._count(-1)

    def _count(self, more: int) -> None:
        with self._counting:
            self._waiting += more
            self._came, self._since = True, self._clock()

    def quiet(self) -> bool:
        """Tell whether nobody waits, nor is about to ask for the rest of a page."""
        with self._counting:
            calm_s = QUIET_S if self._came else NOBODY_CAME_S
            return not self._waiting and self._clock() - self._since >= calm_s


def keep_for_good() -> None:
    """Have the garbage collector leave alone what is in memory by now.

    It stays as long as the program runs, and to walk through it again and again holds up
    whoever writes just then, by a tenth of a second and more for a long log.
    """
    gc.freeze()


def do_in_quiet(
    work: Callable[[], None],
    visits: Visits,
    pause: Callable[[], Any],
    clock: Callable[[], float] = time.monotonic,
) -> None:
    """Do something once nobody waits for a page, or patience ends; say where it cannot be done.

    Parameters
    ----------
    work
        Something that pages do without.
    visits
        Knows who waits.
    pause
        Called between one look and the next.
    clock
        Seconds that only go forward.
    """
    until = clock() + PATIENCE_S
    while not visits.quiet() and clock() < until:
        pause()
    try:
        work()
    except (ImportError, OSError, RuntimeError) as error:
        click.echo(f"forecasts go on without the compiler: {error}", err=True)


def serve_until_stopped(
    app: dash.Dash,
    host: str,
    port: int,
    browse: bool,
    *,
    proxy: str | None = None,
    in_quiet: Callable[[], None] | None = None,
) -> None:
    """Serve ``app`` and say where; stop well on Ctrl+C.

    Parameters
    ----------
    app
        Made by ``dashboard.app.create_app``.
    host, port
        Where to listen; port 0 takes any free one.
    browse
        Open a browser window on it.
    proxy
        Address of a proxy in front, whose word on the sender is taken; None for none.
    in_quiet
        What to do on a thread of its own once pages have been served.

    Raises
    ------
    ViaductError
        When the port is taken or not allowed, with what to do.
    """
    visits = Visits(app.server)
    server = listening(visits, host, port, proxy=proxy)
    address = f"http://{host}:{server.effective_port}/"
    click.echo(f"serving {address} (Ctrl+C stops it)")
    if browse:
        threading.Timer(0.5, webbrowser.open, [address]).start()
    if in_quiet is not None:
        pause = threading.Event()
        doing = threading.Thread(
            target=do_in_quiet,
            args=(in_quiet, visits, lambda: pause.wait(QUIET_S / 4)),
            daemon=True,
        )
        doing.start()
    try:
        server.run()
    except KeyboardInterrupt:
        click.echo("stopped")
    finally:
        server.close()


def listening(
    app: Callable[..., Iterable[bytes]], host: str, port: int, *, proxy: str | None = None
) -> Any:
    """Return a server that listens, not running yet.

    Raises
    ------
    ViaductError
        When the port is taken or not allowed, with what to do.
    """
    # That a request waits a moment for a thread is no news to whoever looks at the terminal.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)
    try:
        return create_server(
            app,
            host=host,
            port=port,
            threads=THREADS,
            connection_limit=CONNECTIONS,
            asyncore_use_poll=True,  # the other way knows no connection beyond the 1024th file
            max_request_body_size=LARGEST_BODY,
            **_behind(proxy),
        )
    except (OSError, socket.gaierror) as error:
        raise ViaductError(
            f"cannot listen on {host}:{port} ({error}). Choose another with --port."
        ) from error


def _behind(proxy: str | None) -> dict[str, Any]:
    """Return how a proxy in front is believed; without one its headers are thrown away."""
    if proxy is None:
        return {"clear_untrusted_proxy_headers": True}
    return {
        "trusted_proxy": proxy,
        "trusted_proxy_count": 1,
        "trusted_proxy_headers": FORWARDED,
        "clear_untrusted_proxy_headers": True,
    }
