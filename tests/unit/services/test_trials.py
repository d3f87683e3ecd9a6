"""A trial in the cellar: lot, batches, closed codes, answer."""

from __future__ import annotations

import json
from collections import Counter

import pytest

from batches import CLOVER
from mustwright.cli import main as cli
from mustwright.errors import ConflictError, InputError
from mustwright.learning.trial import TrialArm
from mustwright.services.repository import MissingRecordError
from mustwright.services.trial_report import trial_data, trial_lines
from mustwright.services.trials import (
    judge_trial,
    open_trial,
    score_trial,
    start_trial,
    trial,
    trial_of_batch,
    trials,
)

ARMS = (TrialArm("front", "everything_at_pitch"), TrialArm("staged", "thirds_on_days_0_2_4"))


def begin(cellar, vessels=6, **more):
    must = more.pop("must", None) or cellar.keep("Clover", CLOVER)
    return start_trial(
        cellar.compose.trial_parts, "Two ways", more.pop("thing", "protocol"),
        more.pop("arms", ARMS), more.pop("musts", (must,)), vessels=vessels, seed=11,
        now=cellar.now, pitched_at=cellar.now, **more,
    )  # fmt: skip


def by_arm(kept, low, high):
    """Scores that follow the arms, under the codes."""
    return {v.code: (low if v.arm == 1 else high) + 0.01 * v.vessel for v in kept.trial.vessels}


def test_every_vessel_has_a_batch_under_its_code(cellar):
    kept = begin(cellar)
    vessels = kept.trial.vessels
    assert Counter(v.arm for v in vessels) == {1: 3, 2: 3}
    for vessel in vessels:
        record = cellar.ledger.batch(vessel.batch)
        assert str(vessel.code) in record.name
        state = cellar.compose.ledger.log(vessel.batch)[0].what.plan
        assert state.protocol == ARMS[vessel.arm - 1].protocol
    assert trial(cellar.compose.notebook, kept.key) == kept
    assert [t.key for t in trials(cellar.compose.notebook)] == ["two-ways"]
    assert trial_of_batch(cellar.compose.notebook, vessels[0].batch) == kept
    assert trial_of_batch(cellar.compose.notebook, "other") is None


def test_codes_stay_closed_until_the_last_score(cellar):
    kept = begin(cellar)
    said = trial_data(kept)
    assert all(v["arm"] is None for v in said["vessels"])
    assert said["seed"] is None
    assert "front" not in " ".join(trial_lines(kept)[1:])
    with pytest.raises(ConflictError):
        open_trial(cellar.compose.notebook, kept.key, cellar.now)
    values = by_arm(kept, 5, 7)
    some = dict(list(values.items())[:5])
    with pytest.raises(InputError, match="a value for every vessel"):
        judge_trial(cellar.compose.trial_parts, kept.key, cellar.now, values=some)
    half = trial(cellar.compose.notebook, kept.key)
    assert sum(v.value is not None for v in half.trial.vessels) == 5
    assert not half.trial.is_open
    done, answer = judge_trial(cellar.compose.trial_parts, kept.key, cellar.now, values=values)
    assert done.trial.is_open
    assert not done.trial.opened_early
    assert answer.effect.effect == pytest.approx(2, abs=0.05)
    assert answer.p == pytest.approx(0.1)
    assert "With 6 vessels it cannot be told from chance" in answer.message


def test_what_was_expected_beforehand_makes_it_one_sided(cellar):
    kept = begin(cellar, expected="more")
    _, answer = judge_trial(
        cellar.compose.trial_parts, kept.key, cellar.now, values=by_arm(kept, 5, 7)
    )
    assert answer.p == answer.smallest_p == pytest.approx(0.05)
    assert "The protocol made a difference" in answer.message


def test_the_other_way_round_is_no_finding(cellar):
    kept = begin(cellar, expected="less")
    _, answer = judge_trial(
        cellar.compose.trial_parts, kept.key, cellar.now, values=by_arm(kept, 5, 7)
    )
    assert answer.p == 1.0
    assert "No difference is shown" in answer.message


def test_opening_early_is_written_down(cellar):
    kept = begin(cellar)
    early = open_trial(cellar.compose.notebook, kept.key, cellar.now, early=True)
    assert early.trial.opened_early
    assert trial_data(early)["vessels"][0]["arm"] in ("front", "staged")
    _, answer = judge_trial(
        cellar.compose.trial_parts, kept.key, cellar.now, values=by_arm(kept, 5, 7)
    )
    assert answer.p > 0
    assert trial(cellar.compose.notebook, kept.key).trial.opened_early


def test_measured_by_the_batches_themselves(cellar):
    kept = begin(cellar, vessels=4)
    cellar.pass_hours(200)
    for vessel in kept.trial.vessels:
        for hours, gravity in ((48, 1.080), (96, 1.050 if vessel.arm == 1 else 1.030), (144, 1.01)):
            cellar.read(vessel.batch, 200 - hours, gravity)
    done, answer = judge_trial(cellar.compose.trial_parts, kept.key, cellar.now, measure="days")
    assert answer.means["staged"] < answer.means["front"]
    assert done.trial.measure.startswith("days until")
    with pytest.raises(InputError):
        judge_trial(cellar.compose.trial_parts, kept.key, cellar.now, measure="colour")
    with pytest.raises(InputError, match="the same as before"):
        score_trial(cellar.compose.notebook, kept.key, {})


def test_several_musts_split_in_pairs(cellar):
    musts = [cellar.keep(f"Must {k}", CLOVER) for k in range(3)]
    kept = begin(cellar, vessels=6, musts=musts)
    assert kept.trial.paired
    pairs = Counter((v.must, v.arm) for v in kept.trial.vessels)
    assert pairs == {(m, a): 1 for m in (1, 2, 3) for a in (1, 2)}
    with pytest.raises(InputError, match="2 for each of 3 musts"):
        begin(cellar, vessels=4, musts=musts)


def test_arms_may_differ_in_one_thing_only(cellar):
    base = cellar.keep("Base", CLOVER)
    warm = cellar.keep("Warm", CLOVER.replace("20 C", "24 C"))
    strong = cellar.keep("Strong", CLOVER.replace("20 C", "24 C").replace("1.100", "1.110"))
    arms = (TrialArm("cool", must=base), TrialArm("warm", must=warm))
    kept = begin(cellar, vessels=4, thing="temperature", arms=arms, musts=())
    assert len({v.batch for v in kept.trial.vessels}) == 4
    both = (TrialArm("cool", must=base), TrialArm("warm", must=strong))
    with pytest.raises(InputError, match="gravity at pitch"):
        begin(cellar, vessels=4, thing="temperature", arms=both, musts=())
    with pytest.raises(InputError, match="another protocol for each"):
        begin(
            cellar,
            arms=(TrialArm("a", "everything_at_pitch"), TrialArm("b", "everything_at_pitch")),
        )
    assert [t.key for t in trials(cellar.compose.notebook)] == ["two-ways"]


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"thing": "moon"}, "thing"),
        ({"arms": (TrialArm("a", "everything_at_pitch"),) * 2}, "arms"),
        ({"vessels": 5}, "vessels"),
        ({"expected": "better"}, "expected"),
    ],
)
def test_bad_input_names_the_field_and_writes_nothing(cellar, more, field):
    with pytest.raises(InputError) as raised:
        begin(cellar, **more)
    assert raised.value.field == field
    assert trials(cellar.compose.notebook) == []
    assert cellar.ledger.batches() == []


def test_an_unknown_must_writes_nothing(cellar):
    with pytest.raises(MissingRecordError):
        begin(cellar, musts=("nowhere",))
    assert cellar.ledger.batches() == []


def test_the_commands(cellar, capsys, monkeypatch, tmp_path):
    must = cellar.keep("Clover", CLOVER)
    cellar.compose.close()
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path))

    def ask(*typed, code=0):
        assert cli.run(["trial", *typed]) == code
        out, err = capsys.readouterr()
        return err if code else json.loads(out) if "--json" in typed else out

    arms = ("--arm", "front=everything_at_pitch", "--arm", "staged=thirds_on_days_0_2_4")
    said = ask("start", "Two ways", "--must", must, "--thing", "protocol", *arms,
               "--vessels", "4", "--seed", "3", "--json")  # fmt: skip
    assert [v["arm"] for v in said["vessels"]] == [None] * 4
    codes = [v["code"] for v in said["vessels"]]
    assert "still missing" in ask("open", "two-ways", code=2)
    values = ",".join(f"{code}={5 + k}" for k, code in enumerate(codes))
    answer = ask("judge", "two-ways", "--values", values, "--json")
    assert answer["open"]
    assert {"effect", "low", "high", "p", "smallest_p", "message"} <= set(answer)
    assert "With 4 vessels it cannot be told from chance" in ask("judge", "two-ways")
    assert "front" in ask("show", "two-ways")
    assert len(ask("show", "--json")["trials"]) == 1
    bad = ("start", "X", "--must", must, "--thing", "protocol", "--arm", "a")
    assert "needs NAME=WHAT" in ask(*bad, "--vessels", "4", "--seed", "1", code=2)
