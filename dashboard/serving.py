"""Serve an app until someone stops it."""

from __future__ import annotations

import socket
import threading
import webbrowser

import click
import dash
from waitress.server import create_server

from model.problems import ViaductError

THREADS = 8


def serve_until_stopped(app: dash.Dash, host: str, port: int, browse: bool) -> None:
    """Serve ``app`` and say where; stop well on Ctrl+C.

    Parameters
    ----------
    app
        Made by ``dashboard.app.create_app``.
    host, port
        Where to listen; port 0 takes any free one.
    browse
        Open a browser window on it.

    Raises
    ------
    ViaductError
        When the port is taken or not allowed, with what to do.
    """
    try:
        server = create_server(app.server, host=host, port=port, threads=THREADS)
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
