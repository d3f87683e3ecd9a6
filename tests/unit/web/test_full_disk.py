"""Every form of every page on a full disk: 507, why in one sentence, and the form as typed."""

from __future__ import annotations

import io
import re
import time
from collections import OrderedDict
from types import SimpleNamespace
from urllib.parse import urlencode

import pytest
from fastapi.routing import APIRoute
from PIL import Image

from batch_pages import Cellar, fields, words
from closed import closed_batch
from faults import FAULTS, disk_of
from finished import dry_batch
from mustwright.learning import finished
from mustwright.services import tailoring
from mustwright.services.access import set_passphrase
from mustwright.services.batch.tokens import DEVICE, new_token
from mustwright.services.demo import seed_demo
from mustwright.services.own_protocols import protocol_text
from mustwright.services.repository import CellarAwayError
from mustwright.services.tailoring import tailoring_of
from mustwright.services.tastings import tasting
from mustwright.services.trials import trial
from mustwright.store.failing import FAILING, FULL, READ_ONLY
from mustwright.web.forms.batch_form import GRAMS

SAID = {"full": FULL, "read-only": READ_ONLY, "failing": FAILING}
TYPED = "my own words <b>&amp; ü"
OWN = protocol_text("thirds_on_days_0_2_4", {}).replace("thirds_on_days_0_2_4", "my_thirds")


@pytest.fixture
def site(app, client, monkeypatch):
    """A cellar with one of everything that a form can change."""
    real = finished.summary_of
    monkeypatch.setattr(finished, "summary_of", lambda *a: real(*a, members=400))
    cellar = Cellar(app.state.compose)
    kept = app.state.compose.cellar
    seed_demo(kept)
    slug = cellar.ahead()
    kept.save("protocol", "mine", OWN.replace("my_thirds", "mine"), None)
    for kind, key in (("protocol", "gone"), ("nutrient", "gone"), ("sheet", "gone")):
        kept.save(kind, key, "a = 1", None, "Gone")
        kept.delete(kind, key, 1)
    gone = cellar.start("Gone", 60).slug
    cellar.ledger.delete_batch(gone, cellar.ledger.batch(gone).version)
    dry = dry_batch(cellar)
    closed_batch(cellar, "Slow one")
    learned(client, cellar)
    must = kept.records("sheet")[0].key
    monkeypatch.setattr(tailoring, "tailor", one_tailored)
    monkeypatch.setattr(tailoring, "_jobs", OrderedDict())  # no other test may find that result
    client.post(f"/musts/{must}/tailor")
    while (job := tailoring_of(kept, kept.record("sheet", must))) is None or job.is_running:
        time.sleep(0.02)
    return client, cellar, slug, dry


def one_tailored(*_, **_more) -> tuple[SimpleNamespace, ...]:
    """A search whose one result can be kept."""
    return (SimpleNamespace(protocol_file=OWN.replace("my_thirds", "tailored_thirds")),)


def learned(client, cellar) -> None:
    """A trial, a tasting with one answer, and a finished batch the house was told to forget."""
    must = cellar.compose.cellar.records("sheet")[0].key
    trial = {"name": "Two ways", "thing": "protocol", "must": must, "arm1": "front",
             "what1": "everything_at_pitch", "arm2": "staged", "what2": "thirds_on_days_0_2_4",
             "vessels": "4", "expected": "", "seed": "5"}  # fmt: skip
    client.post("/trials/new", data=trial)
    tasting = {"name": "Two feeds", "kind": "triangle", "question": "", "meads": "One\nOther",
               "tasters": "3", "seed": "7", "expected": "0"}  # fmt: skip
    client.post("/tastings/new", data=tasting)
    code = str(glasses(cellar)[0])
    client.post("/tastings/two-feeds/seat/1", data={"initials": "AB", "glass": code})
    client.post("/house/forget", data={"batch": "slow-one"})
    closed_batch(cellar, "Slow two")


def glasses(cellar) -> tuple[int, ...]:
    return tasting(cellar.compose.notebook, "two-feeds").tasting.seats[0].codes


def picture() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (8, 8), "white").save(out, "PNG")
    return out.getvalue()


def forms(client, cellar, slug, dry):
    """By route: its address, what is sent, and the words of the maker's that must come back."""
    batch = client.get(f"/batches/{slug}").text
    note = next(e.id for e in cellar.ledger.log(slug) if e.what.kind == "reading")
    at = cellar.now.strftime("%Y-%m-%dT%H:%M")
    jar = cellar.compose.cellar.records("nutrient")[0]
    kept = cellar.compose.cellar.records("sheet")[0]
    must = f"/musts/{kept.key}"
    asked = urlencode({"batch": dry, "ph": "3.6"})
    token, _ = new_token(cellar.ledger, slug, DEVICE, "float")
    removed = cellar.ledger.log(slug)[-1].id
    sheet = {"volume": "19 L", "target": "1.100", "name": TYPED, "jar": "dap",
             "portion.0.kind": "clover honey", "portion.0.amount": "solve"}  # fmt: skip
    seen = str(cellar.ledger.batch(slug).version)

    undo = fields(batch, f"/batches/{slug}/undo")
    codes = [v.code for v in trial(cellar.compose.notebook, "two-ways").trial.vessels]
    scores = {f"score_{code}": str(5 + k) for k, code in enumerate(codes)}
    first = glasses(cellar)[0]

    def form(page: str, action: str) -> dict[str, str]:
        return fields(client.get(page).text, action)

    return {
        "/musts/new": (form("/musts/new", "/musts/new") | sheet, TYPED),
        "/musts/new/first": (
            {"volume": "10 L", "target": "12 %", "temperature": "20 C", "note": TYPED}, TYPED,
        ),
        "/musts/{key}/edit": (
            f"{must}/edit", form(f"{must}/edit", f"{must}/edit") | {"jar": "dap"}, kept.name,
        ),
        "/musts/{key}/delete": (f"{must}/delete", {"version": str(kept.version)}, ""),
        "/musts/{key}/restore": ("/musts/gone/restore", {}, ""),
        "/musts/{slug}/copy": (f"{must}/copy", {}, ""),
        "/musts/new/text": ({"name": TYPED, "text": kept.text}, TYPED),
        "/musts/{key}/text": (
            f"{must}/text", {"name": TYPED, "text": kept.text, "version": str(kept.version)}, TYPED,
        ),
        "/musts/{slug}/start": (
            f"{must}/start", form(f"{must}/start", f"{must}/start") | {"name": TYPED}, TYPED,
        ),
        "/shelf/new": (form("/shelf/new", "/shelf/new") | {"name": TYPED, "kind": "dap"}, TYPED),
        "/shelf/{key}": (
            f"/shelf/{jar.key}", form(f"/shelf/{jar.key}", f"/shelf/{jar.key}"), "",
        ),
        "/shelf/{key}/delete": (
            f"/shelf/{jar.key}/delete", {"version": str(jar.version)}, "",
        ),
        "/shelf/{key}/restore": ("/shelf/gone/restore", {}, ""),
        "/protocols/new": ({"text": OWN}, "my_thirds"),
        "/protocols/{key}/edit": (
            "/protocols/mine/edit", {"text": OWN.replace("my_thirds", "mine"), "version": "1"},
            "mine",
        ),
        "/protocols/{key}/delete": ("/protocols/mine/delete", {"version": "1"}, ""),
        "/protocols/{key}/restore": ("/protocols/gone/restore", {}, ""),
        "/batches/{slug}/reading": (
            f"/batches/{slug}/reading", {"gravity": "1.062", "note": TYPED, "at": at}, TYPED,
        ),
        "/batches/{slug}/feed": (
            f"/batches/{slug}/feed", {f"{GRAMS}dap": "2 g", "note": TYPED, "at": at}, TYPED,
        ),
        "/batches/{slug}/event": (
            f"/batches/{slug}/event", {"what": "stirred", "note": TYPED, "at": at}, TYPED,
        ),
        "/batches/{slug}/note": (f"/batches/{slug}/note", {"text": TYPED, "at": at}, TYPED),
        "/batches/{slug}/photos": (
            f"/batches/{slug}/photos", {"caption": TYPED, "at": at}, TYPED,
        ),
        "/batches/{slug}/import": (
            f"/batches/{slug}/import",
            {"text": f"at,gravity,note\n{at}Z,1.060,words\n", "do": "write"}, "1.060",
        ),
        "/batches/{slug}/rename": (
            f"/batches/{slug}/rename", {"name": TYPED, "version": seen, "seen": seen}, TYPED,
        ),
        "/batches/{slug}/delete": (
            f"/batches/{slug}/delete", {"version": seen, "seen": seen}, "",
        ),
        "/batches/{slug}/restore": ("/batches/gone/restore", {}, ""),
        "/batches": ("/batches", None, ""),
        "/batches/{slug}/tokens": (
            f"/batches/{slug}/tokens", {"purpose": DEVICE, "label": TYPED}, TYPED,
        ),
        "/batches/{slug}/tokens/{id}/end": (f"/batches/{slug}/tokens/{token.id}/end", {}, ""),
        "/batches/{slug}/entries/{id}": (
            f"/batches/{slug}/entries/{note}",
            form(f"/batches/{slug}/entries/{note}", f"/batches/{slug}/entries/{note}")
            | {"note": TYPED}, TYPED,
        ),
        "/batches/{slug}/entries/{id}/delete": (
            f"/batches/{slug}/entries/{removed}/delete", {"seen": seen}, "",
        ),
        "/trials/new": (
            form("/trials/new", "/trials/new")
            | {"name": TYPED, "must": kept.key, "arm1": "a", "what1": "everything_at_pitch",
               "arm2": "b", "what2": "thirds_on_days_0_2_4", "vessels": "4", "seed": "3"}, TYPED,
        ),
        "/trials/{key}/judge": (
            "/trials/two-ways/judge", {"measure": "score"} | scores, scores[f"score_{codes[-1]}"],
        ),
        "/trials/{key}/open": ("/trials/two-ways/open", {"early": "1"}, ""),
        "/tastings/new": (
            form("/tastings/new", "/tastings/new")
            | {"name": TYPED, "meads": "One\nOther", "tasters": "3"}, TYPED,
        ),
        "/tastings/{key}/seat/{number}": (
            "/tastings/two-feeds/seat/1",
            {"initials": "CD", "glass": str(first), f"note_{first}": TYPED}, TYPED,
        ),
        "/tastings/{key}/close": ("/tastings/two-feeds/close", {}, ""),
        "/musts/{slug}/tailor/keep": (f"{must}/tailor/keep", {"which": "0"}, ""),
        "/house/learn": ("/house/learn", {}, ""),
        "/house/forget": ("/house/forget", {"batch": "slow-two"}, ""),
        "/house/remember": ("/house/remember", {"batch": "slow-one"}, ""),
        "/batches/{slug}/back/learn": ("/batches/slow-two/back/learn", {}, ""),
        "/batches/{slug}/back/words": (
            "/batches/slow-two/back/words", {"next_time": TYPED, "version": ""}, TYPED,
        ),
        "/batches/{slug}/copy": ("/batches/slow-two/copy", {}, ""),
        "/batches/{slug}/undo": (f"/batches/{slug}/undo", undo, ""),
        "/finish/{slug}/record": (
            "/finish/sulfite/record",
            form(f"/finish/sulfite?{asked}", "/finish/sulfite/record") | {"note": TYPED}, TYPED,
        ),
    }  # fmt: skip


# Routes that write nothing, or whose write is tested below.
ELSEWHERE = {
    "/login", "/logout", "/logout/others", "/api/batches/{slug}/readings",
    "/batches/{slug}/entries/{id}/restore", "/batches/{slug}/replan",
    "/musts/{slug}/tailor", "/musts/{slug}/tailor/stop", "/forecast/stop",
    "/forecast/compile", "/imports/{id}/stop",
    "/units",  # buttons alone: nothing typed could be lost
    "/language",  # the same
}  # fmt: skip


def posts(app) -> set[str]:
    return {r.path for r in app.routes if isinstance(r, APIRoute) and "POST" in r.methods}


@pytest.mark.thorough
@pytest.mark.parametrize("fault", FAULTS)
def test_every_form_says_what_is_wrong_and_holds_what_was_typed(site, app, fault):
    client, cellar, slug, dry = site
    cases = forms(client, cellar, slug, dry)
    assert posts(app) == set(cases) | ELSEWHERE, "a form without a test on a full disk"
    exported = client.get(f"/api/batches/{slug}/export.json").content
    before = cellar.ledger.stamp()
    with disk_of(cellar.compose.cellar._engine, fault) as disk:
        disk.fails_at, wrong = 1, []
        for route, case in cases.items():
            address, data, typed = case if len(case) == 3 else (route, *case)
            files = None
            if route.endswith("/photos"):
                files = {"photo": ("a.png", picture())}
            elif data is None:
                data, files = {}, {"file": ("a.json", exported.replace(b'"id": "', b'"id": "z'))}
            answer = client.post(address, data=data, files=files, follow_redirects=False)
            if answer.status_code != 507:
                wrong.append(
                    (
                        route,
                        answer.status_code,
                        re.findall(r'class="wrong"[^>]*>([^<]*)', answer.text),
                    )
                )
                continue
            assert int(answer.headers["retry-after"]) > 0
            page = words(answer.text)
            assert SAID[fault] in page, route
            if typed:
                given = {v for v in fields_of(answer.text).values()}  # noqa: C416
                assert typed in given or any(typed in v for v in given), (route, given)
        disk.fails_at = 0
    assert not wrong, str(wrong)
    assert cellar.ledger.stamp() == before


def fields_of(page: str) -> dict[str, str]:
    """The fields of the page's own form, which goes to the address it was sent to."""
    page = re.sub(r'<form method="post" class="kept">', '<form action="again">', page)
    return fields(page, "again")


def test_what_comes_back_can_be_sent_again_and_is_written(site):
    client, cellar, slug, _ = site
    sent = {"gravity": "1.062", "note": TYPED, "id": "the-id-of-the-form"}
    with disk_of(cellar.compose.cellar._engine) as disk:
        disk.fails_at = 1
        page = client.post(f"/batches/{slug}/reading", data=sent).text
    again = fields_of(page)
    assert again == sent
    answer = client.post(f"/batches/{slug}/reading", data=again)
    assert answer.status_code == 200, words(answer.text)
    written = cellar.ledger.log(slug)[-1]
    assert (written.id, written.what.gravity, written.what.note) == (sent["id"], 1.062, TYPED)


def test_pages_are_still_read_while_nothing_can_be_written(site):
    """What is worked out and kept along the way can be made again: a page does without."""
    client, cellar, slug, _ = site
    with disk_of(cellar.compose.cellar._engine) as disk:
        disk.fails_at = 1
        for path in ("/", f"/batches/{slug}", "/batches", "/shelf", f"/api/batches/{slug}"):
            assert client.get(path).status_code == 200, path
        assert client.get("/health").status_code == 503
    assert client.get("/health").status_code == 200


def test_a_device_is_told_in_json_and_comes_again(site):
    client, cellar, slug, _ = site
    _, secret = new_token(cellar.ledger, slug, DEVICE, "float")
    reading = {"client_id": "a", "at": cellar.now.isoformat(), "gravity": 1.06}
    call = {"url": f"/api/batches/{slug}/readings", "json": {"readings": [reading]},
            "headers": {"Authorization": f"Bearer {secret}"}}  # fmt: skip
    with disk_of(cellar.compose.cellar._engine) as disk:
        disk.fails_at = 1
        answer = client.post(**call)
        assert answer.status_code == 507
        assert answer.json()["error"]["message"] == FULL
        assert int(answer.headers["retry-after"]) > 0
    assert client.post(**call).status_code == 200


def test_a_database_that_is_away_is_said_with_what_was_typed(site, monkeypatch):
    client, cellar, slug, _ = site

    def away(*_given, **_named):
        raise CellarAwayError("The database with the cellar cannot be reached.")

    monkeypatch.setattr(cellar.ledger, "append", away)
    answer = client.post(f"/batches/{slug}/note", data={"text": TYPED})
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "5")
    assert fields_of(answer.text)["text"] == TYPED


def test_a_passphrase_that_was_typed_never_comes_back(site):
    client, cellar, *_ = site
    set_passphrase(cellar.ledger, "heather and gorse")
    client.app.state.access.is_locked = True
    with disk_of(cellar.compose.cellar._engine) as disk:
        disk.fails_at = 1
        answer = client.post("/login", data={"passphrase": "heather and gorse", "then": "/shelf"})
    assert answer.status_code == 507
    assert "gorse" not in answer.text
