"""Serve an app until someone stops it."""

from __future__ import annotations

import socket
import threading
import webbrowser
from typing import Any

import click
import dash
from waitress.server import create_server

from dashboard.access import is_loopback
from model.problems import ViaductError
from model.project import Project

THREADS = 8
LARGEST_BODY = 64 * 1024 * 1024
"""Bytes; nothing larger reaches the app, which has lower bounds of its own."""

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


def serve_until_stopped(
    app: dash.Dash, host: str, port: int, browse: bool, *, proxy: str | None = None
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

    Raises
    ------
    ViaductError
        When the port is taken or not allowed, with what to do.
    """
    try:
        server = create_server(
            app.server,
            host=host,
            port=port,
            threads=THREADS,
            max_request_body_size=LARGEST_BODY,
            **_behind(proxy),
        )
    except (OSError, socket.gaierror) as error:
        raise ViaductError(
            f"cannot listen on {host}:{port} ({error}). Choose another with --port."
        ) from error
    address = f"http://{host}:{server.effective_port}/"
    click.echo(f"serving {address} (Ctrl+C stops it)")
    if browse:
        threading.Timer(0.5, webbrowser.open, [address]).start()
    try:
        server.run()
    except KeyboardInterrupt:
        click.echo("stopped")
    finally:
        server.close()


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
