"""How does a full cellar bear load: seed it, serve it, ask and post at once, and say the numbers.

``python benchmarks/load.py`` seeds 2,000 batches and 500,000 readings in a temporary folder, serves
them on loopback and measures; ``--batches``, ``--readings``, ``--seconds`` and ``--rounds`` make it
smaller. The measurements are taken in turn, round after round, as the speed of a shared machine
changes from minute to minute: the median is reported, and each round beside the time of a fixed
piece of work. Everything is bounded: nothing runs longer than its seconds, and nothing leaves this
machine.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

from mustwright.batch.entries import Entry, Event, PlanAdopted, Reading
from mustwright.kinetics.pace import usual_pace
from mustwright.services.batch.record import new_id, plan_of
from mustwright.services.batch.tokens import new_token
from mustwright.services.batch.worklist import due_today
from mustwright.store.cellar_store import CellarStore

SHEET = """
[must]
volume = "19 L"
temperature = "20 C"
[measured]
gravity = "{gravity}"
"""
CONNECTIONS, POSTS_PER_S, POSTED_TO = 20, 200, 200


def now() -> datetime:
    return datetime.now(UTC)


def seed(store: CellarStore, batches: int, readings: int) -> list[tuple[str, str]]:
    """Batches at every age, read hourly by a device; slug and token of those that are posted to."""
    from mustwright.batch.corrected_readings import must_course

    chance = random.Random(4)
    gravities = ("1.080", "1.100", "1.120", "1.140")
    plans = [
        plan_of(SHEET.format(gravity=g), "falling_parts_by_sugar_or_day", {}) for g in gravities
    ]
    tokens = []
    for number in range(batches):
        plan = chance.choice(plans)
        age_h = chance.uniform(12, 24 * 40)
        start = now() - timedelta(hours=age_h)
        pace = usual_pace(plan.must.brix, 20, 150)
        course = must_course(plan.must)
        entries = [
            Entry(new_id(), start, "seed", PlanAdopted(plan)),
            Entry(new_id(), start, "seed", Event("pitched")),
        ]
        for k in range(readings):
            h = age_h * (k + 1) / (readings + 1)
            gravity = float(course.gravity_at(pace.sugar_used_at(h))) + chance.gauss(0, 0.001)
            what = Reading(gravity=round(gravity, 4), instrument="sensor", temperature_c=20.5)
            entries.append(Entry(f"s{k}", start + timedelta(hours=h), "device: seed", what))
        record = store.ledger.start(f"Batch {number}", "", entries)
        if number < POSTED_TO:
            tokens.append((record.slug, new_token(store.ledger, record.slug, "device", "d")[1]))
    return tokens


class Caller(threading.Thread):
    """One connection kept open, asking what it is told until the time is over.

    A bare socket: the client shares two cores with the server, and is not what is measured.
    """

    def __init__(self, address: str, until: float, ask: Callable[[Caller, int], None]) -> None:
        super().__init__()
        self.host = urlsplit(address).netloc
        name, _, port = self.host.rpartition(":")
        self.connection = socket.create_connection((name, int(port)), timeout=30)
        self.connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.until, self.ask = until, ask
        self.took_ms: list[float] = []
        self.wrong: list[str] = []

    def run(self) -> None:
        number = 0
        while time.monotonic() < self.until:
            self.ask(self, number)
            number += 1
        self.connection.close()

    def call(self, method: str, path: str, body: str | None = None, **headers: str) -> int:
        """One call, timed until its last byte is here."""
        content = (body or "").encode()
        lines = [f"{method} {path} HTTP/1.1", f"Host: {self.host}"]
        lines += [f"{name}: {value}" for name, value in headers.items()]
        if body is not None:
            lines.append(f"Content-Length: {len(content)}")
        began = time.perf_counter()
        self.connection.sendall("\r\n".join([*lines, "", ""]).encode() + content)
        status = self._answer()
        self.took_ms.append(1000 * (time.perf_counter() - began))
        if status != 200:
            self.wrong.append(f"{status} {path}")
        return status

    def _answer(self) -> int:
        """Read one answer to its end; its status."""
        came = b""
        while (end := came.find(b"\r\n\r\n")) < 0:
            came += self._more()
        head = came[:end].lower()
        match = re.search(rb"\r\ncontent-length: (\d+)", head)
        assert match, "an answer without its length"
        missing = int(match[1]) - (len(came) - end - 4)
        while missing > 0:
            missing -= len(self._more())
        return int(head.split(b" ", 2)[1])

    def _more(self) -> bytes:
        part = self.connection.recv(262_144)
        if not part:
            raise ConnectionError("the server hung up")
        return part


def measure(address: str, seconds: float, ask: Callable[[Caller, int], None]) -> dict[str, float]:
    """Twenty connections at once."""
    until = time.monotonic() + seconds
    callers = [Caller(address, until, ask) for _ in range(CONNECTIONS)]
    for caller in callers:
        caller.start()
    for caller in callers:
        caller.join()
    took = sorted(ms for caller in callers for ms in caller.took_ms)
    wrong = [w for caller in callers for w in caller.wrong]
    return {
        "calls": len(took),
        "per_s": round(len(took) / seconds, 1),
        "p50_ms": round(took[len(took) // 2], 1),
        "p95_ms": round(took[int(len(took) * 0.95)], 1),
        "wrong": len(wrong),
    }


def post_steadily(
    address: str, tokens: list[tuple[str, str]], seconds: float
) -> tuple[dict[str, float], list[tuple[str, str]]]:
    """Posts at a steady rate; what was acknowledged, as (batch, id)."""
    lock, said, behind = threading.Lock(), [], [0.0]
    began = time.monotonic()
    total = int(seconds * POSTS_PER_S)
    turn = iter(range(total))

    def ask(caller: Caller, _number: int) -> None:
        with lock:
            k = next(turn, None)
        if k is None:
            time.sleep(0.05)
            return
        wait = began + k / POSTS_PER_S - time.monotonic()
        if wait > 0:
            time.sleep(wait)
        else:
            behind[0] = max(behind[0], -wait)
        slug, secret = tokens[k % len(tokens)]
        reading = {"client_id": f"p{k}", "at": now().isoformat(), "gravity": 1.05}
        status = caller.call(
            "POST",
            f"/api/batches/{slug}/readings",
            json.dumps({"readings": [reading]}),
            **{"Authorization": f"Bearer {secret}", "Content-Type": "application/json"},
        )
        if status == 200:
            with lock:
                said.append((slug, f"p{k}"))

    found = measure(address, seconds + 1, ask)
    found["asked"] = total
    found["acknowledged"] = len(said)
    found["per_s"] = round(len(said) / seconds, 1)
    found["most_behind_s"] = round(behind[0], 2)
    return found, said


def memory_mb(process: subprocess.Popen[str]) -> float:
    """Most memory the server has held [MB]."""
    status = Path(f"/proc/{process.pid}/status").read_text()
    match = re.search(r"VmHWM:\s+(\d+) kB", status)
    assert match
    return int(match[1]) / 1024


def cpu_ms(process: subprocess.Popen[str]) -> float:
    """Processor time the server has taken [ms]."""
    fields = Path(f"/proc/{process.pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) * 1000 / os.sysconf("SC_CLK_TCK")


def fixed_work() -> int:
    """The piece of work that others are measured by."""
    return sum(k * k % 7 for k in range(100_000))


def fixed_work_ms() -> float:
    """How fast is the machine just now: a fixed piece of work, the best of three [ms]."""
    took = []
    for _ in range(3):
        began = time.process_time()
        fixed_work()
        took.append(1000 * (time.process_time() - began))
    return round(min(took), 1)


def summary(rounds: list[dict[str, float]]) -> dict[str, object]:
    """The median of each number; and each round's p95 beside the machine's speed just then."""
    middle: dict[str, object] = {
        name: sorted(told[name] for told in rounds)[len(rounds) // 2] for name in rounds[0]
    }
    middle["wrong"] = sum(told["wrong"] for told in rounds)
    each = ", ".join(f"{r['p95_ms']:g} (at {r['fixed_work_ms']:g})" for r in rounds)
    return middle | {"p95_ms of each round (at fixed_work_ms)": each}


def main(arguments: list[str]) -> int:
    """Seed, serve, measure, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--batches", type=int, default=2000)
    parser.add_argument("--readings", type=int, default=250, help="for each batch")
    parser.add_argument("--seconds", type=float, default=8, help="for each measurement")
    parser.add_argument("--rounds", type=int, default=5, help="of each measurement but the posts")
    parser.add_argument("--page", action="append", default=[], help="also this path ({slug})")
    parser.add_argument("--json", type=Path, help="write the numbers there too")
    chosen = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory(prefix="mustwright-load-") as folder:
        found = run(Path(folder), chosen)
    print(json.dumps(found, indent=2))
    if chosen.json:
        chosen.json.write_text(json.dumps(found, indent=2) + "\n")
    return 0 if found["posts lost"] == 0 else 1


def run(folder: Path, chosen: argparse.Namespace) -> dict[str, object]:
    """Everything in one folder."""
    began = time.monotonic()
    store = CellarStore(folder / "cellar.db", now)
    tokens = seed(store, chosen.batches, chosen.readings)
    found: dict[str, object] = {"cores": os.cpu_count(), "seed_s": _since(began)}
    began = time.monotonic()
    due_today(store.ledger, now(), UTC, budget_s=600)
    found["first digest of all batches_s"] = _since(began)
    slugs = [record.slug for record in store.ledger.batches()]
    process = subprocess.Popen(
        [sys.executable, "-m", "mustwright", "serve", "--port", "0", "--no-seed"],
        env=os.environ | {"MUSTWRIGHT_HOME": str(folder)},
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        match = re.search(r"http://\S+:\d+", process.stdout.readline())
        assert match, "the server did not start"
        address = match[0]
        chance = random.Random(5)
        paths = ("/api/batches", "/api/batches/{slug}", *chosen.page)
        rounds: dict[str, list[dict[str, float]]] = {path: [] for path in paths}
        for path in paths * chosen.rounds:

            def ask(caller: Caller, _n: int, path: str = path) -> None:
                caller.call("GET", path.replace("{slug}", chance.choice(slugs)))

            work, before = fixed_work_ms(), cpu_ms(process)
            told = measure(address, chosen.seconds, ask)
            told["server_cpu_ms_per_call"] = round((cpu_ms(process) - before) / told["calls"], 2)
            told["fixed_work_ms"] = work
            rounds[path].append(told)
        found |= {f"GET {path}": summary(told) for path, told in rounds.items()}
        posts, said = post_steadily(address, tokens, chosen.seconds)
        found[f"POST at {POSTS_PER_S}/s"] = posts
        found["memory_mb"] = round(memory_mb(process))
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(timeout=20)
    kept = {(slug, e.id) for slug, _ in tokens for e in store.ledger.log(slug)}
    found["posts lost"] = len([one for one in said if one not in kept])
    store.close()
    return found


def _since(began: float) -> float:
    return round(time.monotonic() - began, 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
