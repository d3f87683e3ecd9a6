"""What do pages of batches and musts cost a processor, part by part: in one process, by itself.

``python benchmarks/pages.py`` seeds 200 batches with 250 readings each and 6 musts in a temporary
folder and asks for each of them, as a server just started would. A page of a must is asked for
first, with its run of the model; then made again from what that run gave; then shown as it is kept.
A page of a batch is also asked for as a browser does: once, and again in the next minute.
Times are those of the processor; as machines differ, each is also given as a multiple of a fixed
piece of work done in between.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

from fastapi import FastAPI
from full_cellar import now, seed, seed_musts
from load import fixed_work
from starlette.requests import Request

from mustwright.batch import stability
from mustwright.batch.view_json import view_data
from mustwright.cli.serve import collect_seldom
from mustwright.compose import Compose
from mustwright.kinetics.ready import warm_up
from mustwright.services.batch.batch_view import look
from mustwright.services.batch.newest import newest
from mustwright.web.app import create_app
from mustwright.web.pages import acidity, compare, plan
from mustwright.web.pages.batch import batch_page, facts, view_model
from mustwright.web.pages.batch.shared import Desk

AGAIN = 10


class Parts:
    """Processor time by part [ms]."""

    def __init__(self) -> None:
        self.ms: dict[str, float] = defaultdict(float)
        self.times: dict[str, int] = defaultdict(int)

    @contextmanager
    def of(self, name: str) -> Iterator[None]:
        """Count what is done within."""
        began = time.process_time()
        yield
        self.ms[name] += 1000 * (time.process_time() - began)
        self.times[name] += 1


def request_for(app: FastAPI, path: str) -> Request:
    """What a browser asks."""
    scope = {"type": "http", "method": "GET", "path": path, "headers": [], "query_string": b""}
    return Request(scope | {"app": app, "state": {}})


def ask_in_two_minutes(app: FastAPI, slugs: list[str], parts: Parts) -> None:
    """Pages of batches as they are kept, nothing being written between."""
    compose: Compose = app.state.compose
    clock = compose.clock
    for name in ("page, kept from now on", "page, in another minute"):
        for slug in slugs:
            with parts.of(name):
                batch_page.batch_page(request_for(app, f"/batches/{slug}"), slug)
        compose.clock = lambda: clock() + timedelta(minutes=1)
    compose.clock = clock


def ask(app: FastAPI, slug: str, parts: Parts) -> None:
    """One batch: its parts, each by itself, then its page and its data whole."""
    request = request_for(app, f"/batches/{slug}")
    desk = Desk(request)
    with parts.of("look, first"):
        view = look(desk.ledger, slug, desk.now, desk.zone)
    with parts.of("newest lines"):
        newest(desk.ledger, view, batch_page.SHOWN_LINES)
    with parts.of("pictures"):
        view_model.pictures(view)
    with parts.of("figures and feeds"):
        facts.facts_of(view, desk.zone)
        view_model.feed_rows(view, desk.zone)
    with parts.of("page, all but the look"):
        batch_page.shown(request, desk, slug)
    with parts.of("data as JSON"):
        json.dumps(view_data(view))
    with parts.of("fixed piece of work"):
        fixed_work()


MUST_PAGES = {
    "plan": plan.plan_page,
    "comparison": compare.compare_page,
    "acid": acidity.acidity_page,
}


def ask_must(app: FastAPI, must: str, parts: Parts) -> None:
    """Pages of one must: asked for first, made again, and shown again."""
    for name, page in MUST_PAGES.items():
        request = request_for(app, f"/musts/{must}#{name}")
        with parts.of(f"{name}, first"):
            page(request, must)
        for _ in range(AGAIN):
            with parts.of(f"{name}, made again"):
                page.__wrapped__(request, must)
            with parts.of(f"{name}, as it is kept"):
                page(request, must)
    with parts.of("fixed piece of work"):
        fixed_work()


def run(folder: Path, batches: int, readings: int) -> dict[str, dict[str, float]]:
    """Milliseconds, and multiples of the fixed piece of work, by part."""
    compose = Compose(folder)
    seed(compose._store(), batches, readings)
    musts = seed_musts(compose._store(), 6)
    warm_up()
    slugs = [record.slug for record in compose.ledger.batches()]
    for slug in slugs:  # as after a first day: gists and digests are kept beside the logs
        look(compose.ledger, slug, now(), compose.local_zone)
    app = create_app(compose)
    ask(app, slugs[0], Parts())  # templates and tables are read
    compose.close()
    fresh = Compose(folder)
    app.state.compose = fresh
    stability._judged.cache_clear()
    parts = Parts()
    for slug in slugs:
        ask(app, slug, parts)
    ask_in_two_minutes(app, slugs, parts)
    for must in musts:
        ask_must(app, must, parts)
    fresh.close()
    each = {name: ms / parts.times[name] for name, ms in parts.ms.items()}
    one = each["fixed piece of work"]
    return {
        name: {"ms": round(ms, 3), "of the fixed work": round(ms / one, 3)}
        for name, ms in each.items()
    }


def main(arguments: list[str]) -> int:
    """Seed, ask, print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--batches", type=int, default=200)
    parser.add_argument("--readings", type=int, default=250, help="for each batch")
    chosen = parser.parse_args(arguments)
    collect_seldom()
    with tempfile.TemporaryDirectory(prefix="mustwright-pages-") as folder:
        found = run(Path(folder), chosen.batches, chosen.readings)
    print(json.dumps(found, indent=2))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
