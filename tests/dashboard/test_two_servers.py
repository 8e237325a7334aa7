"""Two real servers on one project folder, one of them killed while phones send to both.

What a phone does is done here by threads: send a batch, take it as recorded once the answer
says so, and send it again, to whom it can reach, where no answer came.
"""

from __future__ import annotations

import http.client
import json
import os
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from demo_project import copy_starter
from tests.model.store.test_faults import check_log

ROOT = Path(__file__).parents[2]
PHONES = 4
BEFORE_THE_KILL, AFTER_IT = 60, 40
"""Batches confirmed by either server until one is killed, and by the other after that."""
DEADLINE_S = 60
PLACED = 2
"""Of what a batch tells, in the unit shown."""

pytestmark = pytest.mark.skipif(os.name != "posix", reason="kills as POSIX does")


class Server:
    """A program that serves a folder, and who it confirmed what to."""

    def __init__(self, folder: Path) -> None:
        command = "from dashboard.command import main; main()"
        self.process = subprocess.Popen(
            [sys.executable, "-c", command, "serve", str(folder), "--port", "0"],
            cwd=ROOT, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip

    def ready(self) -> None:
        """Wait until it says where it serves."""
        assert self.process.stdout is not None
        said = next(line for line in self.process.stdout if line.startswith("serving "))
        self.host = said.split()[1].removeprefix("http://").strip("/")

    def ask(self, method: str, path: str, body: object = None) -> tuple[int, dict]:
        connection = http.client.HTTPConnection(self.host, timeout=DEADLINE_S)
        try:
            connection.request(method, path, json.dumps(body), {"Content-Type": "application/json"})
            answer = connection.getresponse()
            return answer.status, json.loads(answer.read())
        finally:
            connection.close()

    def send(self, batch: list[dict]) -> tuple[int, dict]:
        return self.ask("POST", "/api/events", {"events": batch})

    def sheet(self) -> dict:
        """What a phone is told of the line; only the minute is left out."""
        status, sheet = self.ask("GET", "/api/entry-sheet")
        assert status == 200
        return {key: value for key, value in sheet.items() if key != "as_of"}

    def kill(self) -> None:
        self.process.send_signal(signal.SIGKILL)
        assert self.process.wait() == -signal.SIGKILL

    def stop(self) -> None:
        self.process.kill()
        self.process.communicate()


@contextmanager
def served(folder: Path, count: int = 1) -> Iterator[list[Server]]:
    """Serve a folder by several programs at once."""
    servers = [Server(folder) for _ in range(count)]
    try:
        for server in servers:
            server.ready()
        yield servers
    finally:
        for server in servers:
            server.stop()


class Phones:
    """Several phones that send to one server until they are told to stop or get no answer."""

    def __init__(self, server: Server, name: str) -> None:
        self.server, self.name = server, name
        self.confirmed: queue.Queue[list[dict]] = queue.Queue()
        self.in_doubt: list[list[dict]] = []
        self.refused: list[object] = []
        self._enough = threading.Event()
        self._threads = [
            threading.Thread(target=self._send_on, args=(phone,)) for phone in range(PHONES)
        ]
        for thread in self._threads:
            thread.start()

    def _send_on(self, phone: int) -> None:
        number = 0
        while not self._enough.is_set():
            batch = a_batch(f"{self.name}-{phone}-{number}", unit=f"U{phone + 1}")
            try:
                status, said = self.server.send(batch)
            except (OSError, http.client.HTTPException, ValueError):
                self.in_doubt.append(batch)
                return
            if status != 200:
                self.refused.append(said)
            self.confirmed.put(batch)
            number += 1

    def wait_for(self, batches: int) -> list[list[dict]]:
        """Wait until so many more were confirmed; return them."""
        came = [self.confirmed.get(timeout=DEADLINE_S) for _ in range(batches)]
        assert not self.refused
        return came

    def end(self) -> list[list[dict]]:
        """Have all of them end; return what was confirmed and not waited for."""
        self._enough.set()
        return self.left()

    def left(self) -> list[list[dict]]:
        """Wait until none sends any more; return what was confirmed and not waited for."""
        for thread in self._threads:
            thread.join(timeout=DEADLINE_S)
            assert not thread.is_alive()
        assert not self.refused
        return list(self.confirmed.queue)


def a_batch(name: str, unit: str) -> list[dict]:
    """Two amounts and a note."""
    common = {"at": "2026-03-02T08:00", "by": "R. Alder", "unit": unit, "activity": "falsework"}
    amount = {**common, "kind": "place", "quantity": "1", "measure_unit": "ft2"}
    return [
        {**amount, "event_id": f"{name}-0"},
        {**amount, "event_id": f"{name}-1"},
        {**common, "event_id": f"{name}-2", "kind": "note", "note": "levels read"},
    ]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    copy_starter(tmp_path / "job")
    return tmp_path / "job"


def test_a_server_killed_while_two_are_sent_to_loses_and_doubles_nothing(folder: Path):
    with ExitStack() as stack:
        doomed, other = stack.enter_context(served(folder, 2))
        phones = {"doomed": Phones(doomed, "doomed"), "other": Phones(other, "other")}
        told = [batch for some in phones.values() for batch in some.wait_for(BEFORE_THE_KILL)]
        doomed.kill()
        told += phones["doomed"].left()
        told += phones["other"].wait_for(AFTER_IT) + phones["other"].end()
        in_doubt = phones["doomed"].in_doubt
        assert len(in_doubt) == PHONES, "every phone was in the middle of sending"
        assert phones["other"].in_doubt == []

        for batch in in_doubt:
            status, said = other.send(batch)
            ids = [event["event_id"] for event in batch]
            assert status == 200
            assert ids in (said["accepted"], said["repeated"]), "a batch is taken whole"
        (back,) = stack.enter_context(served(folder))
        sheets = [back.sheet(), other.sheet()]

    sent = [event["event_id"] for batch in told + in_doubt for event in batch]
    assert sorted(check_log(folder / "log.sqlite", sent)) == sorted(sent)
    assert sheets[0] == sheets[1]
    assert sheets[0]["last_seq"] == len(sent)
    falsework = [row for row in sheets[0]["rows"] if row["activity"] == "falsework"]
    for phone, row in enumerate(falsework):
        mine = [batch for batch in told + in_doubt if batch[0]["unit"] == f"U{phone + 1}"]
        assert row["placed"] == pytest.approx(PLACED * len(mine))
