"""What a batch says of itself can be said in German: its next step, findings, causes, restart."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from datetime import UTC, timedelta

import pytest

from batches import PITCHED, Log, plan
from mustwright import data
from mustwright.batch.alert import rule_of, threshold_words
from mustwright.batch.assessment import AT_END, STOPPED, WAITING
from mustwright.batch.diagnosis import CAUSES
from mustwright.batch.feed_step import SHORT_NAMES
from mustwright.batch.judged_view import judged
from mustwright.batch.outlook import PaceOutlook
from mustwright.batch.progress import progress_of
from mustwright.batch.snapshot import gist_of
from mustwright.batch.view import BatchRecord
from mustwright.languages import language_called
from mustwright.nutrition.shelf import generic_nutrients
from mustwright.texts import Text, said

GERMAN = language_called("de")
# Codes, figures' sources, and what other parts say: the cautions, the plan's names.
NOT_HERE = ("kind", "rule", "cause", "sheet", "caution", "cautions", "sources", "thresholds",
            "doses", "feed", "finish", "withdrawn")  # fmt: skip


def stopped() -> Log:
    log = Log(plan())
    for day, gravity in ((1, 1.115), (3, 1.090), (5, 1.065), (6, 1.060), (7, 1.060), (9, 1.060)):
        log.read(24 * day, gravity, temperature_c=20.0, ph=2.9 if day == 9 else None)
    return log


def begun() -> Log:
    log = Log(plan())
    log.read(20, 1.117, temperature_c=31.0, ph=3.2)
    return log


def at_end() -> Log:
    log = Log(plan())
    for day, gravity in ((2, 1.090), (6, 1.030), (12, 0.996), (20, 0.996), (28, 0.996)):
        log.read(24 * day, gravity, temperature_c=20.0)
    return log


CASES = {
    "pitched": (lambda: Log(plan()), 1.0),
    "nothing read": (lambda: Log(plan()), 90.0),
    "warm": (begun, 21.0),
    "stopped": (stopped, 24 * 9 + 1),
    "at its end": (at_end, 24 * 28 + 1),
}


def view_at(log: Log, hours: float):
    now = PITCHED + timedelta(hours=hours)
    stands = log.stands()
    gist = gist_of(stands, len(log.entries), until=now)
    state = progress_of(gist, now)
    record = BatchRecord("heather", "Heather", "", len(log.entries), now)
    return judged(record, gist, state, UTC, PaceOutlook(state), read_log=lambda: stands)


def texts(of: object) -> list[str]:
    """Every text a record holds, deep."""
    if isinstance(of, str):
        return [of] if of else []
    if is_dataclass(of):
        named = [f.name for f in fields(of) if f.name not in NOT_HERE]
        return [text for name in named for text in texts(getattr(of, name))]
    return [text for one in of for text in texts(one)] if isinstance(of, tuple) else []


@pytest.mark.parametrize("name", CASES)
def test_every_sentence_is_said_in_german(name):
    log, hours = CASES[name]
    view = view_at(log(), hours)
    found = [
        text
        for part in (view.step, view.findings, view.diagnosis, view.restart)
        for text in texts(part)
    ]
    assert found
    assert view.step.sentence in found
    for text in found:
        assert isinstance(text, Text), text
        assert said(text, GERMAN) != str(text), text


def test_a_german_step_begins_with_its_time():
    step = view_at(Log(plan()), 90.0).step
    assert step.sentence.startswith("Read gravity and temperature now: nothing was read")
    german = said(step.sentence, GERMAN)
    assert german.startswith("Jetzt Dichte und Temperatur messen: seit der Hefegabe")


def test_a_doubtful_finding_keeps_the_german_noun():
    doubted = next(f for f in view_at(Log(plan()), 90.0).findings if f.rule == "no_start")
    assert doubted.title == "Perhaps no sign of fermentation"
    assert said(doubted.title, GERMAN) == "Vielleicht Gärung nicht angesprungen"


def test_phases_are_codes_in_english_and_words_in_german():
    assert (str(WAITING), str(AT_END), str(STOPPED)) == ("waiting", "at its end", "stopped short")
    assert said(STOPPED, GERMAN) == "steckengeblieben"


def test_every_figure_of_a_rule_has_a_name_in_words():
    for rule in data.load("watch")["rule"]:
        for key, record in rule_of(rule).items():
            if isinstance(record, dict):
                assert said(threshold_words(key), GERMAN) != threshold_words(key), key
    for key in data.load("watch")["restart"]:
        assert said(threshold_words(key), GERMAN) != threshold_words(key), key
    assert set(CAUSES) == set(data.load("watch")["cause"])


def test_nutrients_are_named_shortly_in_german():
    short = {n.name.partition(" (")[0] for n in generic_nutrients().values() if " (" in n.name}
    assert short == {str(name) for name in SHORT_NAMES}
    assert all(said(name, GERMAN) != str(name) for name in SHORT_NAMES)
