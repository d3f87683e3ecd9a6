"""Devices post readings, programs ask: by token, whole or not at all, within limits."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from batches import plan
from mustwright.batch.entries import Reading
from mustwright.services.batch.record import start_batch
from mustwright.services.batch.tokens import new_token

NOW = datetime(2031, 5, 2, 12, tzinfo=UTC)
AT = "2031-05-02T12:00:00+02:00"


@pytest.fixture
def batch(app):
    now = NOW
    app.state.compose.clock = lambda: now
    ledger = app.state.compose.ledger
    record = start_batch(ledger, plan(), "Heather", now=now, pitched_at=now - timedelta(hours=20))
    _, secret = new_token(ledger, record.slug, "device", "float")
    return record.slug, secret, ledger


def reading(id: str, **more):
    return {"client_id": id, "at": AT, "gravity": 1.1, **more}


def post(client, batch, readings, secret=None, headers=None):
    slug, own, _ = batch
    headers = {"Authorization": f"Bearer {secret or own}", **(headers or {})}
    headers = {k: v for k, v in headers.items() if v is not None}
    return client.post(
        f"/api/batches/{slug}/readings", json={"readings": readings}, headers=headers
    )


def no_origin(client):
    del client.headers["Origin"]
    return client


def test_a_device_posts_without_an_origin_and_is_answered_once_kept(client, batch):
    answer = post(no_origin(client), batch, [reading("a"), reading("b", temperature_c=19.5)])
    assert answer.status_code == 200, answer.text
    assert [k["client_id"] for k in answer.json()["kept"]] == ["a", "b"]
    slug, _, ledger = batch
    kept = ledger.log(slug)[-2:]
    assert kept[0].what == Reading(gravity=1.1, instrument="sensor")
    assert kept[0].at == datetime(2031, 5, 2, 10, tzinfo=UTC)
    assert kept[0].who == "device: float"


def test_ph_by_strip_is_said_and_another_way_refused(client, batch):
    answer = post(client, batch, [reading("a", ph=3.4, ph_by="strip"), reading("b", ph=3.4)])
    assert answer.status_code == 200, answer.text
    slug, _, ledger = batch
    assert [e.what.ph_by for e in ledger.log(slug)[-2:]] == ["strip", "meter"]
    assert post(client, batch, [reading("c", ph=3.4, ph_by="tongue")]).status_code == 422


def test_the_same_post_again_changes_nothing(client, batch):
    first = post(client, batch, [reading("a")]).json()
    assert post(client, batch, [reading("a")]).json() == first
    assert post(client, batch, [reading("a", gravity=1.2)]).status_code == 409


def test_one_bad_reading_and_none_is_kept(client, batch):
    answer = post(client, batch, [reading("a"), reading("b", ph=99)])
    assert answer.status_code == 422
    assert "readings.1.ph" in answer.json()["error"]["message"]
    both = post(client, batch, [reading("a", brix=12)])
    assert both.json()["error"]["field"] == "readings[0].brix"
    assert len(batch[2].log(batch[0])) == 2


@pytest.mark.parametrize("secret", ["wrong" * 10, "x", "ended", "calendar"])
def test_other_tokens_are_refused(client, batch, secret):
    slug, own, ledger = batch
    if secret == "ended":
        ledger.revoke_token(ledger.tokens(slug)[0].id)
        secret = own
    elif secret == "calendar":
        _, secret = new_token(ledger, slug, "calendar", "phone")
    assert post(client, batch, [reading("a")], secret).status_code == 401


def test_a_token_is_for_its_own_batch(client, batch):
    ledger = batch[2]
    other = start_batch(ledger, plan(), "Other", now=datetime.now(UTC))
    answer = post(client, (other.slug, batch[1], ledger), [reading("a")])
    assert answer.status_code == 401


def test_without_a_token_nothing_is_posted(client, batch):
    answer = client.post(f"/api/batches/{batch[0]}/readings", json={"readings": [reading("a")]})
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"


def test_a_page_of_another_origin_cannot_post_even_with_a_token(client, batch):
    answer = post(client, batch, [reading("a")], headers={"Origin": "http://elsewhere.example"})
    assert answer.status_code == 403


def test_many_at_once_are_bounded(client, batch):
    assert post(client, batch, [reading(f"n{i}") for i in range(500)]).status_code == 200
    assert post(client, batch, [reading(f"m{i}") for i in range(501)]).status_code == 422
    large = [reading(f"l{i}", note="x" * 399) for i in range(499)] * 6
    assert post(client, batch, large).status_code == 413


def test_the_state_can_be_asked_for(client, batch):
    post(client, batch, [reading("a")])
    slug, secret, _ = batch
    found = client.get(f"/api/batches/{slug}", headers={"Authorization": f"Bearer {secret}"})
    assert found.status_code == 200
    data = found.json()
    assert {"state", "next", "findings", "feeds", "forecast", "proposal"} <= data.keys()
    assert data["next"]["sentence"]
    assert client.get("/api/batches").json()["today"] is not None
    assert client.get(f"/api/batches/{slug}/log?after=2").json()["log"][0]["id"] == "a"
    assert client.get("/api/batches/nobody").status_code == 404


@pytest.mark.parametrize(
    ("name", "kind"),
    [("export.json", "application/json"), ("export.csv", "text/csv"), ("calendar.ics", "calendar")],
)
def test_files_can_be_taken_along(client, batch, name, kind):
    answer = client.get(f"/api/batches/{batch[0]}/{name}")
    assert answer.status_code == 200
    assert kind in answer.headers["content-type"]
    assert "attachment" in answer.headers["content-disposition"]


def test_a_calendar_is_subscribed_to_by_an_address_that_can_be_ended(client, batch):
    slug, _, ledger = batch
    token, secret = new_token(ledger, None, "calendar", "phone")
    answer = client.get(f"/calendar/{secret}.ics")
    assert answer.text.startswith("BEGIN:VCALENDAR")
    assert f"{slug}-f2@" in answer.text
    ledger.revoke_token(token.id)
    assert client.get(f"/calendar/{secret}.ics").status_code == 404


def test_the_description_names_the_token_and_the_errors(client):
    description = client.get("/openapi.json").json()
    post = description["paths"]["/api/batches/{slug}/readings"]["post"]
    assert post["security"] == [{"HTTPBearer": []}]
    assert {"200", "401", "409", "413", "422"} <= post["responses"].keys()
    properties = description["components"]["schemas"]["ReadingIn"]["properties"]
    assert properties["client_id"]["pattern"]


@pytest.mark.parametrize(("minutes", "status"), [(0, 200), (9, 200), (11, 422), (9**6, 422)])
def test_a_reading_from_the_future_is_refused(client, batch, minutes, status):
    at = (NOW + timedelta(minutes=minutes)).isoformat()
    answer = post(client, batch, [reading("a"), reading("b", at=at)])
    assert answer.status_code == status
    if status == 422:
        assert answer.json()["error"]["field"] == "readings[1].at"
        assert "10 minutes ahead" in answer.json()["error"]["message"]
        assert len(batch[2].log(batch[0])) == 2
