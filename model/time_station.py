"""When each crew was where along the line: what a time–station chart shows.

One row a unit and activity: where it lies, when it was worked, when it is likely to be
finished and when the plan had it finished, how long its crew stood still before it, and
whether it overtook the work it follows.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from model.fold import State
from model.job import Job
from model.projection import CONFIDENCES, Forecast
from model.units import from_si, shown_length_unit

COLUMNS = (
    "heading", "structure", "place", "unit", "activity", "from_station", "to_station", "status",
    "percent", "started", "finished", *CONFIDENCES, "baseline", "idle_days", "idle_from",
    "overtakes",
)  # fmt: skip


def time_station(job: Job, state: State, forecast: Forecast) -> pd.DataFrame:
    """Lay out the work of every crew by station and time.

    Parameters
    ----------
    job, state
        The plan, and the log folded as of some day.
    forecast
        Projected from that state.

    Returns
    -------
    DataFrame
        One row per unit and activity, by heading in building order, then by activity. Columns:

        ============================== =================================================
        ``heading``, ``structure``     keys
        ``place``                      of the unit on its heading, from 0
        ``from_station, to_station``   in the unit of length that is shown
        ``status``, ``percent``        as folded
        ``started``, ``finished``      dates of the log; NaT where not
        ``p10`` … ``p90``              projected finish; NaT where it is complete
        ``baseline``                   planned finish; NaT where there is none
        ``idle_days``                  working days the crew stood still before this unit;
                                       for the unit it takes next, until now; NaN where none
        ``idle_from``                  day the crew finished the unit before
        ``overtakes``                  key of the activity it began before; blank for none
        ============================== =================================================
    """
    frame = state.units[["unit", "activity", "status", "percent", "started", "finished"]]
    frame = frame.merge(job.units[["unit", "structure", "heading"]], on="unit")
    frame = frame.merge(_stations(job), on="unit")
    frame = frame.merge(forecast.units[["unit", "activity", *CONFIDENCES]], on=["unit", "activity"])
    baseline = job.baseline.rename(columns={"planned_finish": "baseline"})
    frame = frame.merge(baseline, on=["unit", "activity"], how="left")
    frame = frame.merge(_overtaking(job, state), on=["unit", "activity"], how="left")
    frame = frame.assign(overtakes=frame["overtakes"].fillna(""), **_order(frame, job))
    frame = frame.sort_values(["line", "place", "step"], kind="stable", ignore_index=True)
    frame = frame.assign(**_idle(frame, job, np.datetime64(forecast.as_of, "D")))
    return frame[list(COLUMNS)]


def _stations(job: Job) -> pd.DataFrame:
    """Return where each unit lies, in the unit of length that is shown."""
    unit = shown_length_unit(job.units_system)
    return pd.DataFrame(
        {
            "unit": job.units["unit"],
            "from_station": from_si(job.units["from_station_m"].to_numpy(float), unit),
            "to_station": from_si(job.units["to_station_m"].to_numpy(float), unit),
        }
    )


def _order(frame: pd.DataFrame, job: Job) -> dict[str, pd.Series[int]]:
    """Return the place of every row's heading, unit on its heading, and activity."""
    lines = {heading.key: number for number, heading in enumerate(job.headings)}
    places = {unit: number for h in job.headings for number, unit in enumerate(h.units)}
    steps = {activity.key: number for number, activity in enumerate(job.activities)}
    return {
        "line": frame["heading"].map(lines),
        "place": frame["unit"].map(places),
        "step": frame["activity"].map(steps),
    }


def _idle(frame: pd.DataFrame, job: Job, as_of: np.datetime64) -> dict[str, NDArray[np.generic]]:
    """Return how long each crew stood still before each unit, and from when.

    Working days between the day it finished the last of the units it began before, in whatever
    order it took them, and the day it began this one, or now. A crew that began before it had
    finished stood still for none.
    """
    crews = {activity.key for activity in job.activities if not activity.calendar_days}
    began = frame["started"].to_numpy().astype("datetime64[D]")
    left = _free_from(frame)
    known = ~np.isnat(left) & frame["activity"].isin(crews).to_numpy()
    until = np.where(np.isnat(began), as_of + 1, began)
    day_after = np.where(known, left + 1, as_of)
    days = job.calendar.count(day_after, np.maximum(np.where(known, until, as_of), day_after))
    idle = np.where(known & (days > 0), days.astype(float), np.nan)
    idle_from = np.where(np.isnan(idle), np.datetime64("NaT", "D"), left)
    return {"idle_days": idle, "idle_from": idle_from.astype("datetime64[us]")}


def _free_from(frame: pd.DataFrame) -> NDArray[np.datetime64]:
    """Return the day a crew had finished all units it began before each one; NaT where it had not.

    Those not begun come last, in building order, so that only the next of them has a day.
    """
    taken = frame.sort_values(["line", "step", "started", "place"], na_position="last")
    never = pd.Timestamp.max.floor("D").as_unit("us")
    ends = taken["finished"].where(taken["started"].notna()).fillna(never)
    crew = [taken["line"], taken["step"]]
    last = ends.groupby(crew, sort=False).cummax().groupby(crew, sort=False).shift()
    last = last.where(last != never).reindex(frame.index)
    return np.asarray(last.to_numpy().astype("datetime64[D]"))


def _overtaking(job: Job, state: State) -> pd.DataFrame:
    """Return units and activities that began before what they follow was finished there.

    Seen span by span: a trade may follow another through a unit as long as it stays behind.
    """
    spans = state.spans[["unit", "span", "activity", "started_at", "finished_at"]]
    began = spans.dropna(subset=["started_at"]).drop(columns="finished_at")
    rows = []
    for activity in job.activities:
        for earlier in activity.after:
            pair = began[began["activity"] == activity.key].merge(
                spans.loc[spans["activity"] == earlier, ["unit", "span", "finished_at"]],
                on=["unit", "span"],
            )
            # What is not finished at all has been overtaken too.
            over = pair[~(pair["finished_at"] <= pair["started_at"])]
            rows.append(over[["unit", "activity"]].assign(overtakes=earlier))
    found = pd.concat(rows) if rows else began[["unit", "activity"]].head(0).assign(overtakes="")
    return found.drop_duplicates(["unit", "activity"])
