"""What is done while nobody waits for a page, and what many at once cannot do to others."""

from __future__ import annotations

import http.client
import socket
import threading
from contextlib import ExitStack

import pytest

from dashboard.serving import (
    LARGEST_BODY,
    NOBODY_CAME_S,
    PATIENCE_S,
    QUIET_S,
    Visits,
    do_in_quiet,
    listening,
)


class Hand:
    """A clock that is set by hand."""

    def __init__(self):
        self.seconds = 100.0

    def __call__(self):
        return self.seconds


def answers(environ, start_response):
    return [b"a page"]


def test_while_nobody_has_come_the_first_page_is_waited_for():
    clock = Hand()
    visits = Visits(answers, clock)
    clock.seconds += NOBODY_CAME_S - 1
    assert not visits.quiet()
    clock.seconds += 1
    assert visits.quiet()


def test_a_page_that_is_being_answered_is_not_disturbed_however_long_it_takes():
    clock = Hand()
    seen = []

    def slow(environ, start_response):
        clock.seconds += 1000
        seen.append(visits.quiet())
        return [b"at last"]

    visits = Visits(slow, clock)
    assert visits({}, None) == [b"at last"]
    assert seen == [False]
    clock.seconds += QUIET_S / 2
    assert not visits.quiet()
    clock.seconds += QUIET_S / 2
    assert visits.quiet()


def test_what_is_to_be_done_in_quiet_is_done_once_it_is_quiet():
    clock, done = Hand(), []
    visits = Visits(answers, clock)
    visits({}, None)

    def pause():
        assert not done
        clock.seconds += QUIET_S / 4

    do_in_quiet(lambda: done.append(clock.seconds), visits, pause)
    assert done == [100.0 + QUIET_S]


def test_a_compiler_that_does_not_fit_or_cannot_keep_its_work_is_said_in_a_sentence(capsys):
    clock = Hand()
    visits = Visits(answers, clock)
    clock.seconds += NOBODY_CAME_S
    for error in (
        ImportError("needs another NumPy"),
        OSError("no space left"),
        RuntimeError("no place to keep what is compiled"),
    ):

        def breaks(error=error):
            raise error

        do_in_quiet(breaks, visits, lambda: None)
        assert capsys.readouterr().err == f"forecasts go on without the compiler: {error}\n"


def test_where_it_is_never_quiet_patience_ends_after_some_minutes():
    clock, done = Hand(), []
    visits = Visits(answers, clock)

    def pause():
        visits({}, None)
        clock.seconds += QUIET_S / 4

    do_in_quiet(lambda: done.append(clock.seconds), visits, pause, clock)
    assert done == [100.0 + PATIENCE_S]


def a_page(environ, start_response):
    start_response("200 OK", [("Content-Length", "6")])
    return [b"a page"]


@pytest.fixture
def port():
    server = listening(a_page, "127.0.0.1", 0)
    running = threading.Thread(target=server.run, daemon=True)
    running.start()
    yield server.effective_port
    server.close()
    running.join(timeout=10)


def asked(port, method="GET", **headers):
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
    connection.putrequest(method, "/")
    for name, value in headers.items():
        connection.putheader(name.replace("_", "-"), value)
    connection.endheaders()
    status = connection.getresponse().status
    connection.close()
    return status


def test_many_phones_that_send_slowly_keep_nobody_out(port):
    begun = b"POST / HTTP/1.1\r\nHost: x\r\nContent-Length: 1000\r\n\r\nthe first of it"
    with ExitStack() as open_ones:
        for _ in range(150):
            slow = open_ones.enter_context(socket.create_connection(("127.0.0.1", port)))
            slow.sendall(begun)
        assert asked(port) == 200


def test_a_body_that_nothing_here_takes_is_not_waited_for(port):
    assert asked(port, "POST", Content_Length=str(LARGEST_BODY + 1)) == 413
