"""On the local network nobody gets in without the passphrase, or sends from elsewhere."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

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
    compose = Compose(tmp_path)
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
    for path in ("/", "/phone", "/openapi.json", "/health"):
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
