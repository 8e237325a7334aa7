"""The same line written as an event simulation, one path at a time.

It shares no code with ``model.line``: crews and sets are SimPy resources and stores, and work
goes on day by day, so that the two can check each other.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import simpy
from numpy.typing import NDArray


@dataclass
class EventLine:
    """One heading of units through activities in a row; the last one cures."""

    work: NDArray[np.float64]
    """Days, shape (units, activities)."""

    worked: NDArray[np.bool_]
    """Which days from now on are worked."""

    lost: NDArray[np.bool_]
    """Which of them weather takes."""

    sets: int
    turnaround_days: int
    held_until: dict[tuple[int, int], float] = field(default_factory=dict)
    """Moments before which a unit's activity, begun and on hold, does not go on."""

    def finishes(self) -> NDArray[np.float64]:
        """Run the line to its end; shape (units, activities)."""
        env = simpy.Environment()
        units, activities = self.work.shape
        self.finish = np.full((units, activities), np.nan)
        done = [[env.event() for _ in range(activities)] for _ in range(units)]
        crews = [simpy.Resource(env) for _ in range(activities)]
        falsework = simpy.Container(env, init=self.sets)
        for unit in range(units):
            for activity in range(activities):
                env.process(self._one(env, unit, activity, done, crews, falsework))
        env.run()
        return self.finish

    def _one(
        self,
        env: simpy.Environment,
        unit: int,
        activity: int,
        done: list[list[simpy.Event]],
        crews: list[simpy.Resource],
        falsework: simpy.Container,
    ) -> Generator[simpy.Event, Any, None]:
        cures = activity == self.work.shape[1] - 1
        days = float(self.work[unit, activity])
        with crews[activity].request() as crew:
            if not cures:
                # Requests are served in the order they are made: building order.
                yield crew
            if activity == 0:
                yield falsework.get(1)
            else:
                yield done[unit][activity - 1]
            if cures:
                yield env.timeout(days)
            else:
                held = self.held_until.get((unit, activity), 0.0)
                yield env.timeout(max(held - env.now, 0.0))
                yield from self._count(env, days, lambda day: self.worked[day] & ~self.lost[day])
        self.finish[unit, activity] = env.now
        done[unit][activity].succeed()
        if cures:
            yield from self._count(env, self.turnaround_days, lambda day: self.worked[day])
            yield falsework.put(1)

    @staticmethod
    def _count(
        env: simpy.Environment, days: float, counts: Callable[[int], Any]
    ) -> Generator[simpy.Event, Any, None]:
        """Wait until so many days have passed that count."""
        while days > 1e-9:
            day = int(env.now + 1e-9)
            rest = day + 1 - env.now
            if not counts(day):
                yield env.timeout(rest)
                continue
            step = min(days, rest)
            days -= step
            yield env.timeout(step)
