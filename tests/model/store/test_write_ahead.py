"""Several programs that open a new project at the same moment."""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from model.store.write_ahead import write_ahead

ROOT = Path(__file__).parents[3]
PROGRAMS, FILES = 4, 60

# Each file at one moment for all, so that they meet.
OPEN_ALL = """
import sys
import time
from pathlib import Path
from model.store import open_accounts, open_store
print("ready", flush=True)
begin = float(sys.stdin.readline())
for number in range(int(sys.argv[2])):
    while time.time() < begin + 0.03 * number:
        pass
    folder = Path(sys.argv[1]) / str(number)
    open_accounts(folder / "accounts.sqlite").close()
    open_store(folder / "log.sqlite").close()
"""


def test_programs_that_open_new_files_at_once_all_open_them(tmp_path: Path):
    for number in range(FILES):
        (tmp_path / str(number)).mkdir()
    programs = [
        subprocess.Popen(
            [sys.executable, "-c", OPEN_ALL, str(tmp_path), str(FILES)],
            cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            text=True,
        )
        for _ in range(PROGRAMS)
    ]  # fmt: skip
    for program in programs:
        assert program.stdout.readline() == "ready\n"
    begin = time.time() + 0.1
    for program in programs:
        program.stdin.write(f"{begin}\n")
        program.stdin.flush()
    told = [program.communicate(timeout=120)[1] for program in programs]
    assert told == [""] * PROGRAMS
    assert [program.returncode for program in programs] == [0] * PROGRAMS


class Busy:
    """A file that others are in the way of for some tries."""

    def __init__(self, tries: int, code: int = sqlite3.SQLITE_BUSY) -> None:
        self.tries, self.code, self.asked = tries, code, 0

    def execute(self, statement: str) -> None:
        assert statement == "PRAGMA journal_mode = WAL"
        self.asked += 1
        if self.asked <= self.tries:
            error = sqlite3.OperationalError("database is locked")
            error.sqlite_errorcode = self.code
            raise error


def test_a_file_that_is_busy_is_asked_again_until_it_is_not():
    file = Busy(3)
    write_ahead(file, 60.0)
    assert file.asked == 4


def test_one_that_stays_busy_is_given_up():
    with pytest.raises(sqlite3.OperationalError):
        write_ahead(Busy(10**9), 0.01)


def test_a_disk_that_cannot_be_written_is_not_asked_again():
    file = Busy(5, sqlite3.SQLITE_READONLY)
    with pytest.raises(sqlite3.OperationalError):
        write_ahead(file, 60.0)
    assert file.asked == 1
