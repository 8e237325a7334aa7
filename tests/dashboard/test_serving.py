"""What is done while nobody waits for a page."""

from __future__ import annotations

from dashboard.serving import NOBODY_CAME_S, PATIENCE_S, QUIET_S, Visits, do_in_quiet


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
