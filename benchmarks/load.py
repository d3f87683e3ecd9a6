"""How does a full cellar bear load: seed it, serve it, ask and post at once, and say the numbers.

``python benchmarks/load.py`` seeds 2,000 batches with 500,000 readings, 24 musts, a shelf and two
protocols of the maker's own in a temporary folder, serves them on loopback and measures;
``--batches``, ``--readings``, ``--musts``, ``--seconds`` and ``--rounds`` make it smaller. Every
must is asked for once before, by one connection: what that first visit costs is said by itself. The
measurements are taken in turn, round after round, as the speed of a shared machine changes from
minute to minute: the median is reported, and each round beside the time of a fixed piece of work.
Everything is bounded: nothing runs longer than its seconds, and nothing leaves this machine.
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
import urllib.request
from collections.abc import Callable
from datetime import UTC
from pathlib import Path
from urllib.parse import urlsplit

from full_cellar import now, seed, seed_musts

from mustwright.services.batch.worklist import due_today
from mustwright.services.house import house_view
from mustwright.store.cellar_store import CellarStore

CONNECTIONS, POSTS_PER_S, PATIENCE_S = 20, 200, 120
DATA = ("/api/batches", "/api/batches/{slug}")
MUST_PAGES = ("/musts/{must}", "/musts/{must}/compare", "/musts/{must}/acidity?ph={ph}")
PAGES = ("/", *MUST_PAGES, "/batches/{slug}")
PH = ("3.6", "3.8", "4.0")


class Caller(threading.Thread):
    """One connection kept open, asking what it is told until the time is over.

    A bare socket: the client shares two cores with the server, and is not what is measured.
    """

    def __init__(self, address: str, until: float, ask: Callable[[Caller, int], None]) -> None:
        super().__init__()
        self.host = urlsplit(address).netloc
        name, _, port = self.host.rpartition(":")
        self.connection = socket.create_connection((name, int(port)), timeout=PATIENCE_S)
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


def first_visits(
    address: str, process: subprocess.Popen[str], musts: list[str]
) -> dict[str, dict[str, float]]:
    """What a must costs that nobody has asked for: each of its pages once, one after the other."""
    took: dict[str, list[tuple[float, float]]] = {path: [] for path in MUST_PAGES}
    for must in musts:
        for path in MUST_PAGES:
            for ph in PH if "{ph}" in path else PH[:1]:
                caller = Caller(address, 0.0, lambda *_: None)
                before = cpu_ms(process)
                caller.call("GET", path.replace("{must}", must).replace("{ph}", ph))
                caller.connection.close()
                assert not caller.wrong, caller.wrong
                took[path].append((caller.took_ms[0], cpu_ms(process) - before))
    return {
        path: {
            "p50_ms": round(sorted(ms for ms, _ in each)[len(each) // 2]),
            "most_ms": round(max(ms for ms, _ in each)),
            "server_cpu_ms": round(sorted(cpu for _, cpu in each)[len(each) // 2]),
        }
        for path, each in took.items()
        if each
    }


def wait_for_the_forecast(address: str, seconds: float = 600) -> None:
    """Until it is compiled, once for an installation."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        with urllib.request.urlopen(f"{address}/health") as answer:
            if json.load(answer)["forecast"] == "ready":
                return
        time.sleep(0.5)
    raise TimeoutError("the forecast was not compiled in time")


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
    middle: dict[str, object] = {name: _middle(rounds, name) for name in rounds[0]}
    middle["wrong"] = sum(told["wrong"] for told in rounds)
    each = ", ".join(f"{r['p95_ms']:g} (at {r['fixed_work_ms']:g})" for r in rounds)
    return middle | {"p95_ms of each round (at fixed_work_ms)": each}


def _middle(rounds: list[dict[str, float]], name: str) -> float:
    return sorted(told[name] for told in rounds)[len(rounds) // 2]


def main(arguments: list[str]) -> int:
    """Seed, serve, measure, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--batches", type=int, default=2000)
    parser.add_argument("--readings", type=int, default=250, help="for each batch")
    parser.add_argument("--musts", type=int, default=24)
    parser.add_argument("--seconds", type=float, default=8, help="for each measurement")
    parser.add_argument("--rounds", type=int, default=5, help="of each measurement but the posts")
    parser.add_argument("--page", action="append", default=[], help="also this ({slug}, {must})")
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
    musts = seed_musts(store, chosen.musts)
    found: dict[str, object] = {"cores": os.cpu_count(), "seed_s": _since(began)}
    began = time.monotonic()
    due_today(store.ledger, now(), UTC, budget_s=600)
    found["first digest of all batches_s"] = _since(began)
    taught = house_view(store.ledger, store.notebook, now(), learn=True)
    found["batches the house is learned from"] = taught.count
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
        wait_for_the_forecast(address)
        found["first visit, by itself"] = first_visits(address, process, musts)
        chance = random.Random(5)
        paths = (*DATA, *PAGES, *chosen.page)
        rounds: dict[str, list[dict[str, float]]] = {path: [] for path in paths}
        for path in paths * chosen.rounds:

            def ask(caller: Caller, _n: int, path: str = path) -> None:
                one = path.replace("{slug}", chance.choice(slugs))
                one = one.replace("{must}", chance.choice(musts)).replace("{ph}", chance.choice(PH))
                caller.call("GET", one.replace("{new}", str(chance.getrandbits(60))))

            work, before = fixed_work_ms(), cpu_ms(process)
            told = measure(address, chosen.seconds, ask)
            told["server_cpu_ms_per_call"] = round((cpu_ms(process) - before) / told["calls"], 2)
            told["fixed_work_ms"] = work
            rounds[path].append(told)
        home_ms = _middle(rounds["/"], "server_cpu_ms_per_call")
        found |= {
            f"GET {path}": summary(told)
            | {"of_home": round(_middle(told, "server_cpu_ms_per_call") / home_ms, 2)}
            for path, told in rounds.items()
        }
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
