"""Tables in, files out, calendar addresses and keys of devices, and the sheet to print."""

from __future__ import annotations

import html
import json
import re

import pytest
from starlette.testclient import TestClient

from batch_pages import Cellar, fields, words
from mustwright.batch.entries import Reading
from mustwright.batch.log import standing
from mustwright.compose import Compose
from mustwright.web.app import create_app

ORIGIN = "http://127.0.0.1:8765"


@pytest.fixture
def cellar(app):
    return Cellar(app.state.compose)


@pytest.fixture
def slug(cellar):
    return cellar.start("Heather", 72).slug


OWN = """Date;SG;Temp;Remarks
2031-05-02 18:00;1,110;21;first
2031-05-03 18:00;1,095;20;"semi; colon"
"""
BAD = OWN + "2031-05-04 12:00;heavy;20;\n"


def send(client, slug, **form):
    return client.post(f"/batches/{slug}/import", data=form, files={"file": ("", b"")})


def readings(cellar, slug):
    return [s.what for s in standing(cellar.ledger.log(slug)) if isinstance(s.what, Reading)]


def test_a_table_with_columns_of_its_own_is_mapped_shown_and_written(client, cellar, slug):
    asked = send(client, slug, text=OWN, do="look")
    assert asked.status_code == 422
    assert "table-column-at-wrong" in asked.text
    form = fields(asked.text, f"/batches/{slug}/import")
    assert form["text"] == OWN
    chosen = {"column-at": "Date", "column-gravity": "SG", "column-temperature": "Temp",
              "column-note": "Remarks"}  # fmt: skip
    shown = send(client, slug, **(form | chosen), do="look")
    assert shown.status_code == 200
    assert "2 new lines" in words(shown.text)
    assert "1.095, must 20 °C, semi; colon" in words(shown.text)
    assert readings(cellar, slug) == []
    form = fields(shown.text, f"/batches/{slug}/import")
    assert {k: form[k] for k in chosen} == chosen
    done = send(client, slug, **form, do="write")
    assert "2 lines imported" in words(done.text)
    assert [r.gravity for r in readings(cellar, slug)] == [1.110, 1.095]
    again = send(client, slug, **form, do="look")
    assert "0 new lines; 2 already in the log" in words(again.text)
    assert 'value="write"' not in again.text


def test_nothing_is_half_taken_in(client, cellar, slug):
    chosen = {"column-at": "Date", "column-gravity": "SG"}
    for do in ("look", "write"):
        answer = send(client, slug, text=BAD, do=do, **chosen)
        assert answer.status_code == 422
        assert "1 line cannot be used" in words(answer.text)
        assert "Line 4" in words(answer.text)
        assert 'value="write"' not in answer.text
        assert fields(answer.text, f"/batches/{slug}/import")["text"] == BAD
    assert readings(cellar, slug) == []


def test_a_file_is_taken_as_a_pasted_table_is(client, slug):
    own = "at,gravity,note\n2031-05-02T18:00,1.11,x\n".encode("utf-8-sig")
    answer = client.post(f"/batches/{slug}/import", data={"do": "look"},
                         files={"file": ("log.csv", own)})  # fmt: skip
    assert "1 new line." in words(answer.text)
    for content in (b"\xff\xfe\x00", b"at,gravity\n\x00", b""):
        bad = client.post(f"/batches/{slug}/import", data={"do": "look"},
                          files={"file": ("log.csv", content)})  # fmt: skip
        assert bad.status_code == 422
        assert "table-text-wrong" in bad.text


@pytest.mark.thorough
def test_a_long_table_goes_through_whole(client, cellar, slug):
    lines = ["at,gravity,note"]
    lines += [f"2031-05-02T{k // 60 % 24:02}:{k % 60:02}:{k % 59:02},1.1,n{k}" for k in range(3000)]
    text = "\n".join(lines)
    shown = send(client, slug, text=text, do="look")
    assert "3000 new lines" in words(shown.text)
    send(client, slug, **fields(shown.text, f"/batches/{slug}/import"), do="write")
    assert len(readings(cellar, slug)) == 3000
    assert client.get(f"/batches/{slug}?log=all").status_code == 200


@pytest.fixture
def elsewhere(tmp_path):
    """A cellar on another machine."""
    found = Cellar(Compose(tmp_path / "elsewhere"))
    yield found
    found.compose.close()


def test_a_whole_batch_goes_out_and_comes_in_elsewhere_as_it_was(client, cellar, slug, elsewhere):
    cellar.read(slug, 3, 1.095, temperature_c=20.0)
    page = client.get(f"/batches/{slug}/links").text
    link = re.search(r'href="([^"]*export\.json)"', page)[1]
    whole = client.get(link).text
    taken = client.post("/batches", files={"file": ("b.json", whole.encode())})
    copy = taken.url.path.rsplit("/", 1)[1]
    assert copy == slug, "taken in again, it is the batch that is there"
    assert len(cellar.ledger.batches()) == 1
    with TestClient(create_app(elsewhere.compose), base_url=ORIGIN) as other:
        other.headers["Origin"] = ORIGIN
        taken = other.post("/batches", files={"file": ("b.json", whole.encode())})
        assert taken.url.path == f"/batches/{slug}"
        assert elsewhere.ledger.log(slug) == cellar.ledger.log(slug)
        assert other.get(f"/api/batches/{slug}/export.json").text == whole
    for content in (b"{}", b"\xff", b"", json.dumps({"schema": "other"}).encode()):
        bad = client.post("/batches", files={"file": ("b.json", content)})
        assert bad.status_code == 422
        assert "take-file-wrong" in bad.text
    table = client.get(re.search(r'href="([^"]*export\.csv)"', page)[1])
    assert "1.095" in table.text
    calendar = client.get(re.search(r'href="([^"]*calendar\.ics)"', page)[1])
    assert calendar.text.startswith("BEGIN:VCALENDAR")


def test_a_calendar_address_is_shown_once_works_and_ends(client, slug):
    form = {"purpose": "calendar", "label": "phone"}
    page = client.post(f"/batches/{slug}/tokens", data=form)
    assert page.headers["cache-control"] == "no-store"
    address = html.unescape(re.search(r'<code class="secret">([^<]*)</code>', page.text)[1])
    assert client.get(address).text.startswith("BEGIN:VCALENDAR")
    after = client.get(f"/batches/{slug}/links").text
    assert address.split("/calendar/")[1][:20] not in after
    assert "phone" in after
    action = re.search(r'action="([^"]*/end)"', after)[1]
    assert "ended" in words(client.post(action).text)
    assert client.get(address).status_code == 404


def test_a_device_key_opens_its_batch_until_it_is_ended(client, cellar, slug):
    page = client.post(f"/batches/{slug}/tokens", data={"purpose": "device", "label": "float"}).text
    secret = re.search(r'<code class="secret">([^<]*)</code>', page)[1]
    body = {"readings": [{"client_id": "1", "at": "2031-05-04T12:00:00Z", "gravity": 1.09}]}
    headers = {"Authorization": f"Bearer {secret}"}
    assert client.post(f"/api/batches/{slug}/readings", json=body, headers=headers).is_success
    assert "by device" in words(client.get(f"/batches/{slug}").text)
    other = cellar.start("Other", 2).slug
    action = re.search(r'action="([^"]*/end)"', client.get(f"/batches/{slug}/links").text)[1]
    assert client.post(action.replace(slug, other)).status_code == 404
    client.post(action)
    body["readings"][0]["client_id"] = "2"
    answer = client.post(f"/api/batches/{slug}/readings", json=body, headers=headers)
    assert answer.status_code == 401
    for form in ({"purpose": "device", "label": ""}, {"purpose": "spoon", "label": "x"}):
        assert client.post(f"/batches/{slug}/tokens", data=form).status_code == 422


def test_the_sheet_has_plan_cautions_and_rows_to_fill_in(client, slug):
    page = client.get(f"/batches/{slug}/paper").text
    said = words(page)
    for piece in ("Next:", "One-third break", "Each 100 g of sugar", "what was done"):
        assert piece in said
    assert page.count("<tr><td>&nbsp;</td>") >= 15
    assert "gravity about" not in said
