"""Run as a process of its own: forks writers, kills each with SIGKILL, and checks what it had said.

Each writer appends entries to a batch and, once an append has returned, writes the id to a pipe.
Whatever came through the pipe was acknowledged and must be in the log, whole and in order.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path

from batches import PITCHED, plan
from mustwright.batch.entries import Entry, Note, PlanAdopted, Reading
from mustwright.store.cellar_store import CellarStore


def now() -> datetime:
    return PITCHED + timedelta(days=1)


def write_until_killed(path: Path, slug: str, turn: int, pipe: int) -> None:
    store = CellarStore(path, now)
    number = 0
    while True:
        ids = [f"{turn}-{number}-{k}" for k in range(1 + number % 3)]
        entries = [Entry(i, PITCHED, "w", Reading(gravity=1.1, note="x" * 200)) for i in ids]
        store.ledger.append(slug, entries)
        os.write(pipe, "".join(f"{i}\n" for i in ids).encode())
        number += 1


def one_kill(path: Path, slug: str, turn: int, chance: random.Random) -> list[str]:
    """Fork a writer, kill it somewhere in its work; the ids it had acknowledged."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reader)
            write_until_killed(path, slug, turn, writer)
        finally:
            os._exit(1)
    os.close(writer)
    first = os.read(reader, 65536)  # it works now
    time.sleep(chance.random() * 0.03)
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    assert os.WIFSIGNALED(status), "the writer ended by itself"
    content = first
    while more := os.read(reader, 65536):
        content += more
    os.close(reader)
    return content.decode().split()


def main(folder: Path, kills: int) -> None:
    path, chance = folder / "cellar.db", random.Random(11)
    store = CellarStore(path, now)
    slug = store.ledger.start("Kill", "", [Entry("p", PITCHED, "w", PlanAdopted(plan()))]).slug
    store.close()
    said: list[str] = []
    for turn in range(kills):
        said += one_kill(path, slug, turn, chance)
    store = CellarStore(path, now)
    log = store.ledger.log(slug)
    kept = [entry.id for entry in log]
    lost = [i for i in said if i not in set(kept)]
    assert not lost, f"acknowledged and lost: {lost[:5]}"
    assert [e.seq for e in log] == list(range(1, len(log) + 1)), "a gap in the log"
    groups: dict[str, int] = {}
    for i in kept[1:]:
        groups[i.rsplit("-", 1)[0]] = groups.get(i.rsplit("-", 1)[0], 0) + 1
    torn = [g for g, n in groups.items() if n != 1 + int(g.split("-")[1]) % 3]
    assert not torn, f"half of an append was kept: {torn[:5]}"
    store.ledger.append(slug, [Entry("after", PITCHED, "w", Note("still works"))])
    store.close()
    print(f"kills {kills}, acknowledged {len(said)}, kept {len(kept) - 1}, lost {len(lost)}")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
