"""Write the files of the demo's folder anew: ``python -m demo_project``."""

from __future__ import annotations

from demo_project import FOLDER
from demo_project.baseline import baseline_table
from demo_project.context import write_context
from demo_project.layout import write_table, write_tables
from model.exchange.folder import read_folder
from model.problems import InputError


def main() -> None:
    """Write tables, background and, from the job they make, the baseline."""
    write_tables()
    write_context()
    job, problems = read_folder(FOLDER)
    if job is None:
        raise InputError(problems)
    write_table(baseline_table(job), FOLDER / "baseline.csv")


if __name__ == "__main__":
    main()
