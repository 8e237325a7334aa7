"""Writers who write at once, timed one by one, in threads and in programs of their own."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
import time
import uuid
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from model.store import Store, open_store
from tests.model.store.writer_process import a_note

Write = Callable[[int], object]
"""Writes one event and returns when it is confirmed."""


@dataclass(frozen=True)
class Round:
    """What one round of writers came to: milliseconds of each write, by writer."""

    took_ms: Sequence[np.ndarray]
    seconds: float

    @property
    def rate(self) -> float:
        return sum(map(len, self.took_ms)) / self.seconds

    @property
    def slowest_share(self) -> float:
        counts = [len(took) for took in self.took_ms]
        return min(counts) / (sum(counts) / len(counts))


def at_once(writers: Sequence[Write], seconds: float) -> Round:
    """Let writers write as fast as they can, each in a thread of its own."""
    ready = threading.Barrier(len(writers) + 1)
    took: list[list[float]] = [[] for _ in writers]

    def run(write: Write, mine: list[float]) -> None:
        ready.wait()
        now, until = time.perf_counter(), time.perf_counter() + seconds
        while now < until:
            write(len(mine))
            began, now = now, time.perf_counter()
            mine.append(1000 * (now - began))

    threads = [threading.Thread(target=run, args=pair) for pair in zip(writers, took, strict=True)]
    for thread in threads:
        thread.start()
    ready.wait()
    began = time.perf_counter()
    for thread in threads:
        thread.join()
    return Round([np.array(mine) for mine in took], time.perf_counter() - began)


def store_writer(log: Store) -> Write:
    """One event at a time, nobody judging."""
    return lambda _: log.append([a_note(str(uuid.uuid4()))])


class Server:
    """Another program that writes to the same log."""

    def __init__(self, *words: object) -> None:
        command = [sys.executable, "-m", "tests.benchmarks.at_once", *map(str, words)]
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    def ready(self) -> None:
        assert self._process.stdout is not None
        assert self._process.stdout.readline() == "ready\n"

    def go(self) -> None:
        assert self._process.stdin is not None
        self._process.stdin.write("go\n")
        self._process.stdin.flush()

    def came(self) -> list[np.ndarray]:
        said, _ = self._process.communicate()
        return [np.array(took) for took in json.loads(said)]


def main(path: str, seconds: str, threads: str, gate: str) -> None:
    """What ``Server`` runs: say when ready, write when told, print the times."""
    with open_store(path) as log:
        if gate == "open":
            log._gate.close()  # type: ignore[attr-defined]  # as where the system has none
        log.append([a_note(str(uuid.uuid4()))])
        print("ready", flush=True)
        sys.stdin.readline()
        took = at_once([store_writer(log)] * int(threads), float(seconds)).took_ms
    print(json.dumps([mine.tolist() for mine in took]))


if __name__ == "__main__":
    main(*sys.argv[1:])
