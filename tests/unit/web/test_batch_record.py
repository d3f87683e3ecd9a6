"""The record of a batch and its labels: everything that happened, nothing that was deleted."""

from __future__ import annotations

import re

import pytest

from batch_pages import Cellar, words
from batches import CLOVER, plan
from mustwright.batch.entries import Note
from mustwright.batch.finishing_record import StepDone
from mustwright.services.batch.record import remove, write


@pytest.fixture
def cellar(app):
    return Cellar(app.state.compose)


@pytest.fixture
def slug(cellar):
    slug = cellar.start("Lane", 24 * 20, plan=plan(CLOVER)).slug
    cellar.read(slug, 24 * 19, 1.101, temperature_c=20.5, ph=3.8)
    cellar.read(slug, 24 * 10, 1.030, temperature_c=26.0, note="by the window")
    wrong = cellar.read(slug, 24 * 9, 1.333 - 0.3)
    cellar.feed(slug, 24 * 18, "f1")
    cellar.event(slug, 24 * 5, "racked", litres=18.0)
    write(cellar.ledger, slug, Note("smells of wax"), at=cellar.now)
    step = StepDone("rack", lost_l=0.5, volume_before_l=18.0, volume_after_l=17.5)
    write(cellar.ledger, slug, step, at=cellar.now)
    remove(cellar.ledger, slug, wrong.id, now=cellar.now)
    return slug


def test_the_record_holds_readings_feeds_steps_and_events(client, slug):
    page = client.get(f"/batches/{slug}/record").text
    said = words(page)
    rows = re.findall(r'<tr><th scope="row">(.*?)</tr>', page, re.S)
    assert [words(row).split()[4:7] for row in rows] == [
        ["1.0", "1.101", "1.101"], ["10.0", "1.030", "1.032"],
    ]  # fmt: skip
    assert "by the window" in said
    assert "clover honey" in said
    assert re.search(r"\d+\.\d\d kg clover honey, \d+\.\d\d L water", said)
    for heading, line in (
        ("What was fed", "ammonium phosphate"), ("Finishing", "0.50 l left behind"),
        ("What happened", "smells of wax"),
    ):  # fmt: skip
        part = said.split(heading, 1)[1].lower()
        assert line in part, heading
    assert "1.033" not in said
    assert page.count('class="picture wide') == 1


def test_a_batch_without_anything_has_a_record_too(client, cellar):
    slug = cellar.start("Empty", None).slug
    said = words(client.get(f"/batches/{slug}/record").text)
    assert "Readings None yet." in said
    assert "What was fed" not in said


def test_labels_say_honey_and_dates_and_open_the_batch(client, slug):
    page = client.get(f"/batches/{slug}/labels?count=3").text
    labels = re.findall(r'<article class="vessel-label">(.*?)</article>', page, re.S)
    assert len(labels) == 3
    said = words(labels[0])
    assert said.startswith("Lane Clover honey Pitched 14 April 2031")
    assert labels[0].count("<svg") == 1
    assert not re.search(r"<[^>]+\sstyle=", page)
    assert client.get(f"/batches/{slug}/labels?count=999").status_code == 422


def test_a_bottle_label_starts_from_the_honey_and_says_when_it_was_filled(client, cellar, slug):
    page = client.get(f"/finish/bottle?batch={slug}").text
    assert 'name="contents" value="clover honey"' in page
    day = cellar.now
    assert f"Bottled {day.day} {day:%B %Y}" in words(page)
