"""Thousands of odd requests and texts: no 5xx, no traceback, and both databases answer alike.

The same stream goes to a cellar in a file and to one in PostgreSQL, both behind the login, with
sessions and without. Only where MUSTWRIGHT_FUZZ is set, as `./check long` does: 1 makes 10,000
requests and 50,000 texts, 0.05 a twentieth of them.
"""

from __future__ import annotations

import json
import os
import random
import re
import time
import warnings
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from batches import CLOVER, PITCHED, STRONG, plan
from databases import KINDS, place_of
from musts import EXAMPLES
from mustwright.batch.entries import KINDS as ENTRY_KINDS
from mustwright.batch.entries import what_from
from mustwright.batch.entry_fields import (
    event_typed,
    feed_typed,
    moment_typed,
    reading_typed,
    retyped,
)
from mustwright.cli.main import run
from mustwright.compose import Compose
from mustwright.errors import MustwrightError
from mustwright.nutrition.protocols import built_in_protocols, read_protocol
from mustwright.planning.readings_csv import read_readings
from mustwright.planning.sheet import read_sheet
from mustwright.services.access import Patience, _hash, form_token, set_passphrase
from mustwright.services.batch.export_json import export_json, import_json
from mustwright.services.batch.log_table import export_csv, preview_csv
from mustwright.services.batch.record import start_batch
from mustwright.services.batch.tokens import DEVICE, hash_of
from mustwright.services.demo import seed_demo
from mustwright.services.records import read_jar
from mustwright.toml_text import toml_table
from mustwright.units import parse_quantity
from mustwright.web.access import COOKIE, Access
from mustwright.web.app import create_app

SHARE = float(os.environ.get("MUSTWRIGHT_FUZZ") or 0)
REQUESTS, TEXTS = round(10_000 * SHARE), round(50_000 * SHARE)
pytestmark = pytest.mark.skipif(not SHARE, reason="long: MUSTWRIGHT_FUZZ=1, as ./check long sets")
NOW = PITCHED + timedelta(days=3)
HOST = "192.0.2.7:8765"
ORIGIN = f"http://{HOST}"
WORDS = "heather and gorse"

ODD = [
    "", " ", "\x00", "a\x00b", "\ud800", "\udfff", "9" * 5000, "-" + "9" * 400, "1e999", "nan",
    "inf", "-inf", "0x10", "1_000", "٣", "²", "½", "Ⅷ", "1,5", "1.062", "1062", "15 Bx",
    "19 L", "-1 L", "68 F", "absolute zero", "=1+1", "<script>alert(1)</script>", "{{7*7}}",
    "../../etc/passwd", "%00", "%2e%2e", "' OR 1=1 --", "a" * 3000, "ü" * 200, "\u202e", "\ufeff",
    "2031-05-02T12:00:00+00:00", "2099-01-01T00:00:00Z", "0000-00-00", "9999-12-31T23:59:59-23:59",
    "24:00", "18:30", "now", "true", "null", "[]", "{}", '{"a": {"a": 1}}', "\r\n", "\t",
    "dap=2 g", "dap 1 g; dap 2 g", "f1", "pitched", "hydrometer", "refractometer", "stirred",
    "." * 3000, "a.b.c.d" * 400, "[" * 400, '"' * 301, "💧", "\u0301" * 50,
]  # fmt: skip


def odd(chance: random.Random) -> str:
    """A value that nobody typed, or one that somebody might have."""
    text = chance.choice(ODD)
    if chance.random() < 0.2:
        text += chance.choice(ODD)
    if chance.random() < 0.15 and text:
        at = chance.randrange(len(text))
        text = text[:at] + chr(chance.choice((0, 7, 34, 39, 60, 92, 0x2028, 0xE9))) + text[at + 1 :]
    return text[:6000]


def encodable(text: str) -> str:
    """What an HTTP client can put on the wire."""
    return text.encode("utf-8", "replace").decode()


# Requests -----------------------------------------------------------------------------------------

FORMS: dict[str, tuple[str, ...]] = {
    "/batches/{slug}/reading": (
        "gravity",
        "instrument",
        "unit",
        "temperature",
        "sample",
        "calibration",
        "ph",
        "ph_by",
        "at",
        "note",
        "id",
    ),
    "/batches/{slug}/feed": ("feed", "do", "plan", "grams.dap", "at", "note", "id"),
    "/batches/{slug}/event": ("what", "litres", "temperature", "unit", "at", "note", "id"),
    "/batches/{slug}/note": ("text", "at", "id"),
    "/batches/{slug}/undo": ("line", "seen"),
    "/batches/{slug}/rename": ("name", "version"),
    "/batches/{slug}/delete": ("version",),
    "/batches/{slug}/restore": (),
    "/batches/{slug}/entries/{id}": ("gravity", "at", "note", "seen", "unit_opened", "text"),
    "/batches/{slug}/entries/{id}/delete": ("seen",),
    "/batches/{slug}/entries/{id}/restore": ("seen",),
    "/batches/{slug}/replan": ("fingerprint", "seen", "number"),
    "/batches/{slug}/import": ("text", "do", "column-at", "column-gravity"),
    "/batches/{slug}/tokens/{id}/end": (),
    "/shelf/new": ("name", "kind", "stock", "price_per_kg", "form"),
    "/shelf/{id}": ("name", "kind", "stock", "version"),
    "/shelf/{id}/delete": ("version",),
    "/shelf/{id}/restore": (),
    "/musts/{slug}/delete": ("version",),
    "/musts/{slug}/restore": (),
    "/musts/new/text": ("name", "text"),
    "/protocols/new": ("text",),
    "/protocols/{id}/delete": ("version",),
    "/login": ("passphrase", "then"),
    "/finish/{slug}/record": ("asked", "over", "id", "at", "note", "grams.1"),
}
PAGES = (
    "/batches/{slug}/entries/{id}", "/batches/{slug}/links", "/batches/{slug}/photos/{id}",
    "/batches/{slug}/import", "/api/batches/{slug}/log", "/api/batches/{slug}/export.json",
    "/api/batches/{slug}/export.csv", "/api/batches/{slug}", "/calendar/{id}.ics", "/lots/{id}",
    "/convert", "/shelf/{id}", "/protocols/{id}", "/nowhere/{id}", "/static/{id}", "/health",
    "/login", "/phone", "/sources", "/musts/{slug}/text",
)  # fmt: skip
QUERIES = ("after", "batch", "then", "wrote", "log", "took", "value", "to", "gone", "like")
SLOW = ("/musts/new/text", "/finish/{slug}/record", "/batches/{slug}/replan")


class Stream:
    """Requests one after the other, the same for everyone who starts with the same number."""

    def __init__(self, seed: int, slug: str, ids: list[str]) -> None:
        self.chance, self.slug, self.ids = random.Random(seed), slug, ids

    def next(self, k: int) -> dict[str, Any]:
        """One request."""
        kind = self.chance.random()
        found = self._post() if kind < 0.5 else self._api(k) if kind < 0.72 else self._get()
        found["session"] = self.chance.random() < 0.9
        found["token"] = self.chance.choice(("right", "right", "right", "right", "ä", "none"))
        return found

    def _path(self, template: str) -> str:
        slug = self.slug if self.chance.random() < 0.8 else self._word()
        id = self.chance.choice(self.ids) if self.chance.random() < 0.6 else self._word()
        return template.replace("{slug}", slug).replace("{id}", id)

    def _word(self) -> str:
        from urllib.parse import quote

        return quote(encodable(odd(self.chance))[:300], safe="") or "x"

    def _value(self, name: str) -> str:
        usual = {
            "at": "2031-05-02T12:00", "gravity": "1.09", "text": "words", "what": "stirred",
            "seen": "3", "version": "1", "name": "Ling", "do": "write", "kind": "dap",
            "grams.dap": "2 g", "passphrase": WORDS, "then": "/",
        }  # fmt: skip
        if name == "id":
            return f"form-{self.chance.randrange(40)}"
        if name in usual and self.chance.random() < 0.55:
            return usual[name]
        return encodable(odd(self.chance))

    def _post(self) -> dict[str, Any]:
        template = self.chance.choice(list(FORMS))
        if template in SLOW and self.chance.random() < 0.8:
            template = "/batches/{slug}/note"
        names = [n for n in FORMS[template] if self.chance.random() < 0.8]
        data = {name: self._value(name) for name in names}
        if self.chance.random() < 0.01:
            data |= {f"f{i}": "1" for i in range(1500)}
        if self.chance.random() < 0.05:
            data[encodable(odd(self.chance))[:200]] = "x"
        return {"method": "POST", "path": self._path(template), "data": data}

    def _api(self, k: int) -> dict[str, Any]:
        one: dict[str, Any] = {"client_id": f"r{self.chance.randrange(max(k, 1))}",
                               "at": "2031-05-02T12:00:00+00:00", "gravity": 1.09}  # fmt: skip
        for name in ("client_id", "at", "gravity", "note", "ph", "temperature_c", "instrument"):
            if self.chance.random() < 0.12:
                one[name] = self.chance.choice([odd(self.chance), None, 1e308, -1, 10**30, [], {}])
        body = json.dumps({"readings": [one] * self.chance.choice((1, 1, 1, 2))})
        if self.chance.random() < 0.05:
            body = body.replace("1.09", "9" * 5000)
        if self.chance.random() < 0.05:
            body = body[: self.chance.randrange(len(body))]
        path = self._path("/api/batches/{slug}/readings")
        return {"method": "POST", "path": path, "content": body.encode("utf-8", "replace")}

    def _get(self) -> dict[str, Any]:
        params = {q: encodable(odd(self.chance)) for q in QUERIES if self.chance.random() < 0.15}
        return {"method": "GET", "path": self._path(self.chance.choice(PAGES)), "params": params}


class Site:
    """One cellar behind its pages, with a session and a device."""

    def __init__(self, kind: str, folder, stack: ExitStack) -> None:
        (folder / kind).mkdir(mode=0o700)
        place = stack.enter_context(place_of(kind, folder / kind, migrated=True))
        database = place if isinstance(place, str) else ""
        self.now = NOW
        self.compose = Compose(folder / kind, lambda: self.now, database, UTC)
        stack.callback(self.compose.close)
        seed_demo(self.compose.cellar)
        ledger = self.compose.ledger
        self.slug = start_batch(ledger, plan(), "Heather", now=NOW, pitched_at=PITCHED).slug
        set_passphrase(ledger, WORDS)
        self.secret = "s" * 43
        ledger.add_session(_hash(self.secret), NOW + timedelta(days=20))
        self.device = "d" * 43
        ledger.add_token("0123456789ab", self.slug, DEVICE, "float", hash_of(self.device))
        patience = Patience(lambda: (self.now - NOW).total_seconds())
        app = create_app(self.compose, Access(True, ("192.0.2.7",), f"{ORIGIN}/", patience))
        client = TestClient(app, base_url=ORIGIN, follow_redirects=False)
        self.client = stack.enter_context(client)

    def answer(self, request: dict[str, Any]) -> Any:
        """What comes of a request; raises where the app does."""
        headers = {"Origin": ORIGIN}
        is_device = request["path"].startswith("/api/") and request["method"] == "POST"
        if request["session"] and not is_device:
            headers["Cookie"] = f"{COOKIE}={self.secret}"
        if request["path"].startswith("/api/"):
            headers["Authorization"] = f"Bearer {self.device}"
            headers["Content-Type"] = "application/json"
            del headers["Origin"]
        elif request["method"] == "POST" and request["token"] != "none":
            right = form_token(self.secret) if request["token"] == "right" else request["token"]
            request = request | {"data": {**request["data"], "form_token": right}}
        sent = {k: v for k, v in request.items() if k in ("data", "content", "params")}
        answer = self.client.request(request["method"], request["path"], headers=headers, **sent)
        self.client.cookies.clear()
        return answer


# Values that differ from one run to the next, or from one cellar to the other.
_OWN = re.compile(r"[0-9a-f]{32,64}|[A-Za-z0-9_-]{43}")


def said(answer: Any) -> str:
    """The answer without what is random in it."""
    return _OWN.sub("*", f"{answer.headers.get('location', '')}\n{answer.text}")


def apart(answers: list[tuple[int, str]]) -> list[tuple[int, str]]:
    """Two answers from where they begin to differ."""
    one, other = (text for _, text in answers)
    alike = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), 0)
    return [(status, text[max(alike - 60, 0) : alike + 200]) for status, text in answers]


def test_no_request_breaks_the_pages_and_both_databases_answer_alike(tmp_path):
    began, counts, differ = time.monotonic(), {}, []
    with ExitStack() as stack:
        kinds = KINDS if os.environ.get("MUSTWRIGHT_TEST_DATABASE") else KINDS[:1]
        sites = [Site(kind, tmp_path, stack) for kind in kinds]
        first = sites[0].compose.ledger.log("heather")
        ids = [f"form-{i}" for i in range(8)] + ["dap", "mine", "gone"]
        streams = [Stream(20311, site.slug, ids) for site in sites]
        for k in range(REQUESTS):
            requests = [stream.next(k) for stream in streams]
            assert requests[0] == requests[-1]
            answers = [site.answer(requests[0]) for site in sites]
            for answer in answers:
                counts[answer.status_code] = counts.get(answer.status_code, 0) + 1
                assert answer.status_code < 500, (requests[0], answer.text[:600])
                assert "Traceback" not in answer.text
            if len({a.status_code for a in answers}) > 1 or len({said(a) for a in answers}) > 1:
                differ.append((requests[0], *apart([(a.status_code, said(a)) for a in answers])))
            for site in sites:
                site.now = NOW + timedelta(seconds=k)
        took = time.monotonic() - began
        told = dict(sorted(counts.items()))
        print(f"requests {REQUESTS} to each of {kinds}, {took:.0f} s, {told}")
        assert differ == [], differ[:2]
        assert len(sites[0].compose.ledger.log("heather", deleted=True)) >= len(first)
        logs = [
            [(e.seq, e.at, e.who, e.what) for e in s.compose.ledger.log("heather", deleted=True)]
            for s in sites
        ]
        assert logs[0] == logs[-1]
    assert counts.get(200, 0) + counts.get(303, 0) > REQUESTS / 5, "hardly any request got through"


# Texts --------------------------------------------------------------------------------------------


def _sheets() -> list[str]:
    return [STRONG, CLOVER, *(p.read_text("utf-8") for p in sorted(EXAMPLES.glob("*.toml"))[:8])]


def _protocols() -> list[str]:
    from mustwright.services.own_protocols import protocol_text

    return [protocol_text(one, {}) for one in list(built_in_protocols())[:6]]


def mutated(text: str, chance: random.Random) -> str:
    """A text with a few pieces cut, doubled, moved or replaced by something odd."""
    for _ in range(chance.choice((1, 1, 2, 4))):
        if not text:
            return odd(chance)
        a = chance.randrange(len(text))
        b = min(len(text), a + chance.choice((1, 3, 12, 60)))
        piece = chance.choice(("", odd(chance), text[a:b] * 2, text[b : b + 20], chr(a % 255)))
        text = text[:a] + piece[:4000] + text[b:]
    return text


def _json_of(value: object, chance: random.Random) -> object:
    """Plain data of the right shape with odd values in it."""
    if isinstance(value, dict):
        found = {k: _json_of(v, chance) for k, v in value.items()}
        if chance.random() < 0.1 and found:
            del found[chance.choice(list(found))]
        if chance.random() < 0.05:
            found[odd(chance)[:50]] = 1
        return found
    if isinstance(value, list):
        return [_json_of(v, chance) for v in value]
    if chance.random() < 0.1:
        return chance.choice([odd(chance), None, 10**400, -1, 1e308, float("nan"), True, [], {}])
    return value


def test_no_text_breaks_a_reader(tmp_path, capsys):
    from databases import store_of

    chance, counts, began = random.Random(1105), {}, time.monotonic()
    slowest: tuple[float, str] = (0.0, "")
    sheets, protocols, the_plan = _sheets(), _protocols(), plan()
    with store_of("sqlite", tmp_path, lambda: NOW) as store, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        slug = start_batch(store.ledger, the_plan, "Heather", now=NOW, pitched_at=PITCHED).slug
        whole = json.loads(export_json(store.ledger, slug))
        table = "id,at,kind,gravity,temperature,ph,feed,items,what,litres,note,finish\n" + (
            "a,2031-05-02 12:00,reading,1.09,20 C,3.5,,,,,words,\n" * 3)  # fmt: skip
        assert export_csv(()) is not None

        def fields(*names: str) -> dict[str, str | None]:
            return {n: odd(chance) for n in names if chance.random() < 0.7}

        readers = {
            "quantity": (8, lambda: parse_quantity(odd(chance), "x")),
            "moment": (4, lambda: moment_typed(odd(chance), NOW, UTC)),
            "reading": (6, lambda: reading_typed(fields(
                "gravity", "instrument", "calibration", "sample", "temperature", "ph", "ph_by",
                "note"))),
            "feed": (4, lambda: feed_typed(fields("items", "feed", "skipped", "note"), the_plan)),
            "event": (4, lambda: event_typed(fields("what", "temperature", "litres", "note"))),
            "retyped": (2, lambda: retyped(reading_typed({"gravity": "1.09"}), {
                chance.choice(("gravity", "ph", "note", "at", odd(chance))): odd(chance)})),
            "entry": (4, lambda: what_from(
                chance.choice([*ENTRY_KINDS, odd(chance)]),
                _json_of({"gravity": 1.09, "note": "a", "what": "stirred", "target": "a",
                          "text": "b", "items": [{"nutrient": "dap", "grams": 2.0}],
                          "step": "rack", "words": {"a": "b"}}, chance))),
            "sheet": (5, lambda: read_sheet(mutated(chance.choice(sheets), chance))),
            "protocol": (5, lambda: read_protocol(mutated(chance.choice(protocols), chance))),
            "jar": (2, lambda: read_jar("x", mutated('kind = "dap"\nstock = "250 g"\n', chance))),
            "toml": (2, lambda: toml_table(mutated(chance.choice(sheets), chance), "x")),
            "readings csv": (2, lambda: read_readings(mutated("hours,gravity\n1,1.09\n", chance))),
            "table": (2, lambda: preview_csv(
                store.ledger, slug, mutated(table, chance), now=NOW, zone=UTC)),
            "batch file": (1, lambda: import_json(
                store.ledger, mutated(json.dumps(_json_of(whole, chance)), chance))),
            "command": (1, lambda: run(["convert", odd(chance), "--to", odd(chance)])),
        }  # fmt: skip
        names = [name for name, (weight, _) in readers.items() for _ in range(weight)]
        for _ in range(TEXTS):
            name = chance.choice(names)
            before = time.perf_counter()
            try:
                readers[name][1]()
                verdict = "read"
            except MustwrightError as error:
                verdict = "refused" if "\n" not in str(error)[:2000] else "several lines"
            slowest = max(slowest, (time.perf_counter() - before, name))
            counts[name, verdict] = counts.get((name, verdict), 0) + 1
        capsys.readouterr()
    took = time.monotonic() - began
    print(f"texts {TEXTS}, {took:.0f} s, slowest {slowest[0]:.2f} s ({slowest[1]}), {counts}")
    assert {name for name, _ in counts} == set(readers)
    assert [one for one in counts if one[1] == "several lines"] == []
    assert slowest[0] < 5


def test_the_moment_of_the_fuzz_lies_in_the_ferment():
    """The stream writes readings of a time that has come."""
    assert datetime(2031, 5, 2, 12, tzinfo=UTC) < NOW
    assert pytest.approx(3) == (NOW - PITCHED).days
