"""On the local network nobody gets in without the passphrase, or sends from elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import anyio
import argon2
import pytest
from starlette.testclient import TestClient

from batch_pages import fields
from batches import plan
from databases import new_file
from mustwright.compose import Compose
from mustwright.services.access import Patience, set_passphrase
from mustwright.services.batch.record import start_batch
from mustwright.services.batch.tokens import new_token
from mustwright.services.repository import CellarAwayError
from mustwright.web.access import COOKIE, Access
from mustwright.web.app import create_app
from mustwright.web.render import with_form_token

HOST = "192.0.2.7:8765"
WORDS = "heather and gorse"


@pytest.fixture
def seconds() -> dict[str, float]:
    return {"now": 0.0}


@pytest.fixture
def quick_hash(monkeypatch: pytest.MonkeyPatch) -> None:
    """Argon2 with the least work: how much a guess costs is not asked here."""
    quick = argon2.PasswordHasher.from_parameters(argon2.profiles.CHEAPEST)
    monkeypatch.setattr(argon2, "PasswordHasher", lambda: quick)


@pytest.fixture
def client(tmp_path: Path, seconds, quick_hash) -> Iterator[TestClient]:  # noqa: ARG001
    new_file(tmp_path)
    compose = Compose(tmp_path, clock=lambda: datetime(2031, 6, 1, tzinfo=UTC))
    set_passphrase(compose.ledger, WORDS)
    patience = Patience(lambda: seconds["now"])
    access = Access(True, ("192.0.2.7", "127.0.0.1"), f"http://{HOST}/", patience)
    app = create_app(compose, access)

    @app.post("/batches/x/notes")
    async def note() -> dict[str, str]:
        return {"kept": "yes"}

    with TestClient(app, base_url=f"http://{HOST}", follow_redirects=False) as client:
        client.headers["Origin"] = f"http://{HOST}"
        yield client
    compose.close()


def come_in(client: TestClient, words: str = WORDS, then: str = "/phone"):
    return client.post("/login", data={"passphrase": words, "then": then})


def test_without_a_session_every_page_leads_to_the_door(client):
    for path in ("/", "/phone", "/openapi.json", "/batches"):
        answer = client.get(path)
        assert (answer.status_code, answer.headers["location"][:7]) == (303, "/login?"), path
    assert client.get("/api/batches").status_code == 401
    assert client.post("/batches/x/notes").status_code == 401
    assert client.get("/login").status_code == 200
    assert client.get("/static/mustwright.css").status_code == 200


def test_the_right_passphrase_opens_a_session_in_a_guarded_cookie(client):
    answer = come_in(client)
    assert (answer.status_code, answer.headers["location"]) == (303, "/phone")
    cookie = answer.headers["set-cookie"].lower()
    assert COOKIE in cookie
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert client.get("/").status_code == 200
    assert client.get("/api/batches").status_code == 200


@pytest.mark.parametrize("then", ["https://elsewhere.example", "//elsewhere", "/\\elsewhere", "x"])
def test_coming_in_never_leads_to_another_site(client, then):
    assert come_in(client, then=then).headers["location"] == "/"


def test_wrong_guesses_have_to_wait_longer_and_longer(client, seconds):
    for _ in range(5):
        assert come_in(client, "a wrong guess").status_code == 401
    answer = come_in(client)
    assert answer.status_code == 429
    assert int(answer.headers["retry-after"]) >= 5
    seconds["now"] += 6
    assert come_in(client, "a wrong guess").status_code == 401
    assert come_in(client).status_code == 429
    seconds["now"] += 11
    assert come_in(client).status_code == 303


def token_in(page: str) -> str:
    return page.split('name="form_token" value="')[1].split('"')[0]


def form_page(client: TestClient) -> str:
    """Any page with a form; the shown one is made of the template that every form goes through."""
    from mustwright.services.access import form_token

    return with_form_token('<form method="post">', form_token(client.cookies[COOKIE]))


def test_a_form_needs_the_token_of_its_session(client):
    come_in(client)
    assert client.post("/batches/x/notes", data={"text": "a"}).status_code == 403
    wrong = {"form_token": "0" * 64}
    assert client.post("/batches/x/notes", data=wrong).status_code == 403
    token = token_in(form_page(client))
    assert client.post("/batches/x/notes", data={"form_token": token}).status_code == 200
    header = {"x-form-token": token}
    assert client.post("/batches/x/notes", json={"a": 1}, headers=header).status_code == 200
    files = {"file": ("a.txt", b"x" * 5000)}
    many = client.post("/batches/x/notes", data={"form_token": token}, files=files)
    assert many.status_code == 200


def test_a_post_from_elsewhere_is_refused_with_everything_else_right(client):
    come_in(client)
    token = token_in(form_page(client))
    headers = {"Origin": "http://elsewhere.example"}
    answer = client.post("/batches/x/notes", data={"form_token": token}, headers=headers)
    assert answer.status_code == 403


def test_another_host_name_is_refused(client):
    assert client.get("/login", headers={"Host": "elsewhere.example"}).status_code == 400


def test_leaving_ends_the_session_in_the_store_too(client):
    come_in(client)
    cookie = client.cookies[COOKIE]
    token = token_in(form_page(client))
    assert client.post("/logout", data={"form_token": token}).status_code == 303
    client.cookies.clear()
    client.cookies.set(COOKIE, cookie)
    assert client.get("/").status_code == 303


def test_a_device_comes_by_its_token_without_a_session_and_sees_its_batch_alone(client):
    ledger = client.app.state.compose.ledger
    now = client.app.state.compose.clock()
    mine, other = (start_batch(ledger, plan(), n, now=now).slug for n in ("Mine", "Other"))
    _, secret = new_token(ledger, mine, "device", "float")
    reading = {"client_id": "a", "at": "2026-05-02T12:00:00+00:00", "gravity": 1.1}
    client.headers["Authorization"] = f"Bearer {secret}"
    del client.headers["Origin"]
    posted = client.post(f"/api/batches/{mine}/readings", json={"readings": [reading]})
    assert posted.status_code == 200
    assert client.get(f"/api/batches/{mine}").status_code == 200
    assert client.get(f"/api/batches/{other}").status_code == 401
    assert client.post(f"/api/batches/{other}/readings", json={}).status_code == 401
    assert client.get("/api/batches").status_code == 401
    assert client.get("/phone").status_code == 303


def test_any_bearer_word_opens_nothing(client):
    ledger = client.app.state.compose.ledger
    slug = start_batch(ledger, plan(), "Mine", now=client.app.state.compose.clock()).slug
    headers = {"Authorization": "Bearer " + "x" * 40}
    for path in ("/api/batches", f"/api/batches/{slug}", f"/api/batches/{slug}/export.json"):
        assert client.get(path, headers=headers).status_code == 401, path


def test_the_code_for_the_phone_is_a_picture_of_the_address(client):
    come_in(client)
    assert f"http://{HOST}/" in client.get("/phone").text
    picture = client.get("/phone.svg")
    assert picture.headers["content-type"] == "image/svg+xml"
    assert "<svg" in picture.text


def test_headers_are_strict_on_every_answer(client):
    for path in ("/login", "/", "/api/batches", "/static/mustwright.css"):
        policy = client.get(path).headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy


def test_every_posting_form_gets_the_token_and_no_other():
    html = "<form action=a method=POST><form method='get'><FORM METHOD=\"post\" class=x>"
    assert with_form_token(html, "t").count('value="t"') == 2
    assert with_form_token(html, "") == html


def test_the_pages_of_a_batch_work_behind_the_door_and_not_without_it(client):
    compose = client.app.state.compose
    now = compose.clock()
    slug = start_batch(compose.ledger, plan(), "Heather", now=now, pitched_at=now).slug
    here = f"/batches/{slug}"
    assert client.get(here).headers["location"] == f"/login?then={here}"
    assert client.post(f"{here}/note", data={"text": "x"}).status_code == 401
    come_in(client)
    page = client.get(here).text
    assert page.count('method="post"') == page.count('name="form_token"') > 5
    assert client.post(f"{here}/note", data={"text": "x"}).status_code == 403
    note = fields(page, f"{here}/note") | {"text": "from the phone"}
    assert client.post(f"{here}/note", data=note).status_code == 303
    table = "at,gravity\n" + "".join(f"2031-01-01T00:00:{k % 60:02},1.1\n" for k in range(60_000))
    form = fields(client.get(f"{here}/import").text, f"{here}/import")
    big = client.post(f"{here}/import", data=form | {"text": table, "do": "look"},
                      files={"file": ("", b"")})  # fmt: skip
    assert big.status_code == 422  # more lines than are taken at once; not refused at the door
    assert "Needs a head and at most" in big.text
    token = client.post(f"{here}/tokens", data=fields(client.get(f"{here}/links").text,
                        f"{here}/tokens") | {"label": "phone"})  # fmt: skip
    assert f"http://{HOST}/calendar/" in token.text


# Health, no-store, leaving ------------------------------------------------------------------------


def test_whether_the_pages_are_well_is_said_at_the_door(client, monkeypatch):
    """What watches over the pages has no passphrase; it learns nothing of the cellar."""
    answer = client.get("/health")
    assert (answer.status_code, answer.json()["status"]) == (200, "ok")
    store = client.app.state.compose.cellar

    def away() -> None:
        raise CellarAwayError("the cellar /home/secret/cellar.db cannot be reached")

    monkeypatch.setattr(store, "answers", away)
    answer = client.get("/health")
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "5")
    assert "secret" not in answer.text


def test_a_door_without_a_cellar_says_to_come_again(client, monkeypatch):
    come_in(client)

    def away(_secret: str):
        raise CellarAwayError("The database with the cellar cannot be reached.")

    monkeypatch.setattr(client.app.state.compose.ledger, "session_ends", away)
    for answer in (client.get("/"), client.post("/batches/x/notes", data={"text": "a"})):
        assert answer.status_code == 503
        assert int(answer.headers["retry-after"]) > 0
        assert "cannot be reached" in answer.text


def test_no_browser_or_proxy_keeps_a_page_behind_the_login(client):
    assert client.get("/login").headers["cache-control"] == "no-store"
    assert client.get("/api/batches").headers["cache-control"] == "no-store"
    come_in(client)
    for path in ("/", "/phone", "/batches", "/openapi.json", "/nowhere"):
        assert client.get(path).headers["cache-control"] == "no-store", path
    assert client.get("/static/mustwright.css").headers["cache-control"] == "no-cache"


def test_every_page_has_a_way_out_and_the_other_sessions_can_be_ended(client):
    come_in(client)
    mine = client.cookies[COOKIE]
    client.cookies.clear()
    come_in(client)
    other = client.cookies[COOKIE]
    client.cookies.clear()
    client.cookies.set(COOKIE, mine)
    for path in ("/", "/phone", "/batches", "/shelf", "/finish", "/nowhere"):
        assert 'action="/logout"' in client.get(path).text, path
    token = token_in(client.get("/phone").text)
    assert client.post("/logout/others", data={"form_token": token}).status_code == 303
    assert client.get("/").status_code == 200
    client.cookies.clear()
    client.cookies.set(COOKIE, other)
    assert client.get("/").status_code == 303


def test_on_this_machine_alone_there_is_nothing_to_leave(tmp_path):
    with TestClient(create_app(Compose(tmp_path)), base_url="http://127.0.0.1") as client:
        assert "/logout" not in client.get("/").text
        client.app.state.compose.close()


# What comes in before anyone has ------------------------------------------------------------------


async def asked(app, path: str, *parts: bytes, **headers: str) -> tuple[int, int]:
    """The status of a post, and how many parts of its body were read."""
    read = 0
    status = 0

    async def receive():
        nonlocal read
        read += 1
        more = read < len(parts) or not parts
        return {"type": "http.request", "body": parts[read - 1], "more_body": more}

    async def send(message):
        nonlocal status
        if message["type"] == "http.response.start":
            status = message["status"]

    given = {"host": HOST, "origin": f"http://{HOST}", **headers}
    scope = {
        "type": "http", "asgi": {"version": "3.0"}, "http_version": "1.1", "method": "POST",
        "scheme": "http", "path": path, "raw_path": path.encode(), "query_string": b"",
        "root_path": "", "client": ("192.0.2.9", 5), "server": ("192.0.2.7", 8765),
        "headers": [(k.replace("_", "-").encode(), v.encode("latin-1"))
                    for k, v in given.items()],
    }  # fmt: skip
    await app(scope, receive, send)
    return status, read


def test_a_stranger_is_turned_away_before_the_body_is_read(client):
    big = str(14_000_000)
    for path in ("/batches/x/photos", "/batches", "/api/batches/x/readings", "/logout"):
        answer = anyio.run(lambda p=path: asked(client.app, p, b"x" * 65536, content_length=big))
        assert answer == (401, 0), path
    assert anyio.run(lambda: asked(client.app, "/login", b"x", content_length=big)) == (413, 0)
    parts = [b"x" * 3000] * 9
    assert anyio.run(lambda: asked(client.app, "/login", *parts)) == (413, 2)


@pytest.mark.parametrize("came", ["ä" * 64, "\x00", "x" * 5000, ""])
def test_a_form_token_of_any_letters_is_refused_and_breaks_nothing(client, came):
    come_in(client)
    assert client.post("/batches/x/notes", data={"form_token": came}).status_code == 403
    header = {"x-form-token": came.encode("utf-8").replace(b"\x00", b"")}
    assert client.post("/batches/x/notes", headers=header).status_code == 403


def test_a_form_of_very_many_fields_is_read_or_refused_and_breaks_nothing(client):
    come_in(client)
    token = token_in(form_page(client))
    for count in (1500, 20_000):
        data = {**{f"f{i}": "1" for i in range(count)}, "form_token": token}
        assert client.post("/batches/x/notes", data=data).status_code in (200, 403, 413)


# Without a network --------------------------------------------------------------------------------


def test_what_a_device_installs_needs_no_session_and_tells_nothing(client):
    for path in ("/manifest.webmanifest", "/service-worker.js", "/kept"):
        assert client.get(path).status_code == 200, path
    assert "form_token" not in client.get("/kept").text
    assert client.get("/kept").headers["cache-control"] == "no-store"
    assert client.get("/api/pulse").status_code == 401
    come_in(client)
    token = client.get("/api/pulse").json()["form_token"]
    assert f'value="{token}"' in client.get("/").text
    assert client.get("/api/pulse").headers["cache-control"] == "no-store"
