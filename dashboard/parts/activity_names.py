"""Names of activities, as screens show them."""

from __future__ import annotations

from model.job import Job


def activity_names(job: Job) -> dict[str, str]:
    """Return the words for each activity by its key, in working order."""
    return {activity.key: activity.name for activity in job.activities}
