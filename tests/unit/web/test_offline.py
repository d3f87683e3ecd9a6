"""What a device needs to work without a network, and entries that it sends more than once."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest

from batch_pages import Cellar, fields
from mustwright.web.pages.offline import shell

DATA = {"Accept": "application/json"}


@pytest.fixture
def cellar(app):
    return Cellar(app.state.compose)


@pytest.fixture
def slug(cellar):
    return cellar.start("Heather", 40).slug


def readings(cellar, slug):
    log = cellar.ledger.log(slug)
    return [(e.at, e.what.gravity) for e in log if e.what.kind == "reading"]


def test_the_manifest_names_icons_that_are_there(client):
    answer = client.get("/manifest.webmanifest")
    assert answer.headers["content-type"] == "application/manifest+json"
    found = answer.json()
    assert (found["scope"], found["start_url"], found["display"]) == ("/", "/", "standalone")
    for icon in found["icons"]:
        kept = client.get(icon["src"])
        assert kept.headers["content-type"].startswith(icon["type"])
        if icon["sizes"] != "any":
            wide, high = (int.from_bytes(kept.content[i : i + 4], "big") for i in (16, 20))
            assert f"{wide}x{high}" == icon["sizes"]
    assert {icon["sizes"] for icon in found["icons"]} >= {"192x192", "512x512", "any"}


def test_the_worker_stands_at_the_root_and_changes_with_the_files(client):
    answer = client.get("/service-worker.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    assert answer.headers["cache-control"] == "no-cache"
    assert "worker-src 'self'" in answer.headers["content-security-policy"]
    version, listed = re.match(r"const VERSION = (\S+), SHELL = (.*);\n", answer.text).groups()
    assert len(json.loads(version)) == 16
    assert json.loads(listed) == shell()
    for path in shell():
        assert client.get(path).status_code == 200, path
    kept = client.get("/kept").text
    for script in re.findall(r'src="([^"]+)"', kept):
        assert script in shell()
    assert "/static/mustwright.css" in shell()
    assert "/static/service_worker.js" not in shell()


def test_a_kept_copy_can_be_marked(client, slug):
    """The worker writes into these places of a page."""
    page = client.get(f"/batches/{slug}").text
    assert page.count('<html lang="en">') == 1
    assert page.count('<main id="content" tabindex="-1">') == 1
    ids = re.findall(r'name="id" value="([0-9a-f]{32})', page)
    assert len(set(ids)) >= 4


def test_what_waited_and_is_sent_again_is_written_once(client, cellar, slug):
    path = f"/batches/{slug}/reading"
    sent = fields(client.get(f"/batches/{slug}").text, path) | {"gravity": "1.104"}
    assert client.post(path, data=sent, follow_redirects=False).status_code == 303
    # The answer was lost; the device sends it hours later, its clock 9 minutes off.
    stamped = (cellar.now - timedelta(minutes=9)).isoformat()
    cellar.pass_hours(5)
    again = sent | {"at": stamped, "stamped": "1"}
    answer = client.post(path, data=again, headers=DATA, follow_redirects=False)
    assert answer.status_code == 303
    assert [gravity for _, gravity in readings(cellar, slug)] == [1.104]
    # Without the stamp it may be meant as a second reading: the maker decides.
    answer = client.post(path, data=sent, headers=DATA)
    assert answer.status_code == 409
    other = again | {"gravity": "1.099"}
    assert client.post(path, data=other, headers=DATA).status_code == 409
    assert len(readings(cellar, slug)) == 1


def test_what_waited_counts_from_when_it_was_typed(client, cellar, slug):
    typed_at = cellar.now
    cellar.pass_hours(7)
    sent = {"id": "a" * 32, "gravity": "1.100", "at": typed_at.isoformat(), "stamped": "1"}
    client.post(f"/batches/{slug}/reading", data=sent, headers=DATA)
    assert readings(cellar, slug) == [(typed_at, 1.1)]


def test_a_device_is_told_in_data_why_an_entry_is_refused(client, slug):
    path = f"/batches/{slug}/reading"
    answer = client.post(path, data={"gravity": "1.9"}, headers=DATA)
    assert answer.status_code == 422
    assert "0.95 to 1.25" in answer.json()["error"]["message"]
    assert 'id="stop"' in client.post(path, data={"gravity": "1.9"}).text
    assert client.get("/api/pulse").json() == {"form_token": ""}
