"""What set a callback off, where buttons and clocks feed the same one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any


def pressed_ids(triggered: Sequence[Mapping[str, Any]]) -> frozenset[str]:
    """Return the ids of all that set a callback off; none at first sight.

    A button may be pressed while a tick of a clock waits to be sent: then both set off one call,
    and the first of them is not the one that counts. Buttons that come with a page set it off as
    well, without having been pressed.

    Parameters
    ----------
    triggered
        ``ctx.triggered``.

    Examples
    --------
    >>> tick = {"prop_id": "poll.n_intervals", "value": 4}
    >>> sorted(pressed_ids([tick, {"prop_id": "stop.n_clicks", "value": 1}]))
    ['poll', 'stop']
    >>> pressed_ids([{"prop_id": "stop.n_clicks", "value": None}])
    frozenset()
    """
    return frozenset(
        str(one["prop_id"]).rpartition(".")[0] for one in triggered if one.get("value")
    )
