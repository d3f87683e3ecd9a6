"""What the web shell lets in, what it sends with every answer, and how errors read."""

from __future__ import annotations

import pytest
from starlette.responses import PlainTextResponse

from mustwright.errors import ConflictError, InputError
from mustwright.services.repository import MissingRecordError
from mustwright.web.intake import MAX_BODY_BYTES

JSON = {"Accept": "application/json"}


@pytest.fixture
def app(app):
    """The application with a few addresses that only these tests need."""

    def raises(error):
        async def endpoint():
            raise error

        return endpoint

    async def length(request):
        return PlainTextResponse(str(len(await request.body())))

    app.add_api_route("/t/input", raises(InputError("must.volume", "needs <more>", "-3")))
    app.add_api_route("/t/conflict", raises(ConflictError("changed meanwhile")))
    app.add_api_route("/t/missing", raises(MissingRecordError("sheet", "nobody")))
    app.add_api_route("/t/defect", raises(ZeroDivisionError("a secret")))
    app.add_route("/t/length", length, methods=["GET", "POST"])
    return app


@pytest.mark.parametrize("path", ["/", "/health", "/nope", "/static/mustwright.css", "/t/defect"])
def test_every_answer_carries_the_security_headers(client, path):
    headers = client.get(path).headers
    policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == "'self'"
    assert policy["style-src"] == "'self'"
    assert policy["frame-ancestors"] == "'none'"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"


@pytest.mark.parametrize("host", ["127.0.0.1:8765", "localhost", "[::1]:8765"])
def test_loopback_names_are_answered(client, host):
    assert client.get("/health", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", ["rebound.example", "127.0.0.1.rebound.example", "", "[::2]"])
def test_other_names_are_not(client, host):
    assert client.get("/health", headers={"Host": host}).status_code == 400


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Origin": "http://127.0.0.1:8765"}, 200),
        ({"Origin": "http://127.0.0.1:9999"}, 403),
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "127.0.0.1:8765"}, 403),
        ({"Sec-Fetch-Site": "same-origin"}, 200),
        ({"Sec-Fetch-Site": "cross-site"}, 403),
        ({}, 403),
    ],
)
def test_changes_come_from_our_own_pages_only(client, headers, status):
    del client.headers["Origin"]
    assert client.post("/t/length", content=b"abc", headers=headers).status_code == status


def test_reading_needs_no_origin(client):
    del client.headers["Origin"]
    assert client.get("/t/length").status_code == 200


def test_a_body_up_to_the_limit_arrives_whole(client):
    assert client.post("/t/length", content=b"x" * MAX_BODY_BYTES).text == str(MAX_BODY_BYTES)


def test_a_longer_one_is_refused_even_when_its_length_is_not_announced(client):
    def pieces():
        for _ in range(3):
            yield b"x" * (MAX_BODY_BYTES // 2)

    assert client.post("/t/length", content=b"x" * (MAX_BODY_BYTES + 1)).status_code == 413
    assert client.post("/t/length", content=pieces()).status_code == 413
    nonsense = {"Content-Length": "many"}
    assert client.post("/t/length", content=b"x", headers=nonsense).status_code == 413


@pytest.mark.parametrize(
    ("path", "status", "words"),
    [
        ("/t/input", 422, "Volume: needs &lt;more&gt;, got &#39;-3&#39;"),
        ("/t/conflict", 409, "changed meanwhile"),
        ("/t/missing", 404, "nobody"),
        ("/nope", 404, "There is nothing at /nope."),
        ("/t/defect", 500, "Something went wrong here"),
    ],
)
def test_errors_are_readable_pages(client, path, status, words):
    answer = client.get(path)
    assert answer.status_code == status
    assert answer.headers["content-type"].startswith("text/html")
    assert words in answer.text
    assert "secret" not in answer.text


def test_who_asks_for_json_gets_the_same_object_as_on_the_command_line(client):
    answer = client.get("/t/input", headers=JSON)
    assert answer.status_code == 422
    assert answer.json() == {
        "error": {
            "field": "must.volume",
            "requirement": "needs <more>",
            "got": "-3",
            "message": "Volume: needs <more>, got '-3'",
        }
    }


def test_a_method_that_is_not_there_says_which_are(client):
    answer = client.post("/health")
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET"


def test_static_files_are_asked_about_by_tag(client):
    first = client.get("/static/mustwright.css")
    assert first.headers["cache-control"] == "no-cache"
    tag = {"If-None-Match": first.headers["etag"]}
    assert client.get("/static/mustwright.css", headers=tag).status_code == 304


def test_health_fails_when_the_cellar_cannot_be_read(client, tmp_path):
    assert client.get("/health").json()["status"] == "ok"
    client.app.state.compose.close()
    for file in tmp_path.glob("cellar.db*"):
        file.unlink()
    (tmp_path / "cellar.db").mkdir()
    answer = client.get("/health")
    assert (answer.status_code, answer.json()["status"]) == (503, "failing")


@pytest.mark.parametrize("path", ["/docs", "/redoc"])
def test_pages_that_load_from_elsewhere_are_off(client, path):
    assert client.get(path).status_code == 404
