"""Nothing that was acknowledged is lost when the process is killed."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.request
from datetime import UTC, datetime
from pathlib import Path

from batches import PITCHED, plan
from mustwright.batch.entries import Entry, PlanAdopted
from mustwright.services.batch.tokens import new_token
from mustwright.store.cellar_store import CellarStore
from serving import COMMAND, address

HERE = Path(__file__).resolve().parent
KILLS = int(os.environ.get("MUSTWRIGHT_KILLS", "300"))


def test_hundreds_of_killed_writers_lose_nothing_they_acknowledged(tmp_path):
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(HERE.parent), *sys.path])}
    done = subprocess.run(
        [sys.executable, str(HERE / "killing.py"), str(tmp_path), str(KILLS)],
        env=environment,
        capture_output=True,
        text=True,
        timeout=500,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    kills, said, kept, lost = map(int, re.findall(r"\d+", done.stdout))
    assert (kills, lost) == (KILLS, 0)
    assert kept >= said > KILLS
    check = sqlite3.connect(tmp_path / "cellar.db")
    assert check.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    check.close()


def test_a_killed_server_has_kept_what_it_answered_for(tmp_path):
    store = CellarStore(tmp_path / "cellar.db", lambda: datetime.now(UTC))
    slug = store.ledger.start("K", "", [Entry("p", PITCHED, "w", PlanAdopted(plan()))]).slug
    _, secret = new_token(store.ledger, slug, "device", "float")
    said: list[str] = []
    for turn in range(4):
        environment = os.environ | {"MUSTWRIGHT_HOME": str(tmp_path)}
        process = subprocess.Popen(
            [*COMMAND, "serve", "--port", "0", "--no-seed"],
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            url = f"{address(process)}/api/batches/{slug}/readings"
            workers = [
                threading.Thread(target=post_until_dead, args=(url, secret, f"{turn}-{k}", said))
                for k in range(3)
            ]
            for worker in workers:
                worker.start()
            before, until = len(said), time.monotonic() + 30
            while len(said) < before + 8 and time.monotonic() < until:
                time.sleep(0.005)
            process.send_signal(signal.SIGKILL)
            for worker in workers:
                worker.join()
        finally:
            process.kill()
            process.communicate()
    kept = {entry.id for entry in store.ledger.log(slug)}
    store.close()
    assert len(said) > 20
    assert [i for i in said if i not in kept] == []


def post_until_dead(url: str, secret: str, name: str, said: list[str]) -> None:
    number = 0
    while True:
        id = f"{name}-{number}"
        reading = {"client_id": id, "at": "2026-05-02T12:00:00+00:00", "gravity": 1.09}
        request = urllib.request.Request(
            url,
            json.dumps({"readings": [reading]}).encode(),
            {"Authorization": f"Bearer {secret}", "Content-Type": "application/json"},
        )
        try:
            with urllib.request.urlopen(request, timeout=5) as answer:
                assert answer.status == 200
        except (OSError, http.client.HTTPException):
            return
        said.append(id)
        number += 1
