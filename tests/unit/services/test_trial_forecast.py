"""What the forecast expects of the arms of a trial, and what the cellar's own trials add to it."""

from __future__ import annotations

import json

import pytest

from batch_pages import Cellar
from batches import CLOVER
from mustwright.cli import main as cli
from mustwright.compose import Compose
from mustwright.errors import InputError
from mustwright.kinetics import simulate
from mustwright.learning.trial import TrialArm
from mustwright.planning.plan_forecast import foresee
from mustwright.services.trial_forecast import (
    expected_data,
    expected_of_arms,
    expected_sentences,
    layout_in_days,
)
from mustwright.services.trials import judge_trial, own_spread, planned, start_trial

pytestmark = pytest.mark.usefixtures("forecasts")
COLD = CLOVER.replace('temperature = "20 C"', 'temperature = "15 C"')


def cold_and_warm(cellar):
    assert COLD != CLOVER
    return (
        TrialArm("warm", must=cellar.keep("Warm", CLOVER)),
        TrialArm("cold", must=cellar.keep("Cold", COLD)),
    )


def test_a_colder_vessel_is_expected_later_by_the_same_runs(cellar):
    arms = cold_and_warm(cellar)
    found = expected_of_arms(cellar.compose.cellar, "temperature", arms, ())
    warm, cold = found.arms
    assert cold.days.p50 > warm.days.p50 + 1
    assert found.gap.p05 > 0
    record = cellar.compose.cellar.record("sheet", arms[0].must)
    result = planned(cellar.compose.cellar, record, "thirds_on_days_0_2_4")
    assert warm.chance_of_sticking > 0
    same = expected_of_arms(cellar.compose.cellar, "temperature", arms, (), "thirds_on_days_0_2_4")
    (alone,) = foresee(result.ground, [result.plan])
    assert same.arms[0].chance_of_sticking == alone.chance_of_sticking.value
    lines = expected_sentences(found)
    assert "expects cold" in lines[-1]
    assert "days later than warm" in lines[-1]
    data = expected_data(found)
    assert data["difference"]["p50"] == found.gap.p50
    assert [one["name"] for one in data["arms"]] == ["warm", "cold"]


def test_each_arm_is_run_once(cellar, monkeypatch):
    arms, runs, plainly = cold_and_warm(cellar), [], simulate.run_plans
    monkeypatch.setattr(simulate, "run_plans", lambda *given: runs.append(given) or plainly(*given))
    expected_of_arms(cellar.compose.cellar, "temperature", arms, (), "thirds_on_days_0_2_4")
    assert len(runs) == len(arms)


def test_arms_that_differ_in_more_are_refused_as_at_the_start(cellar):
    arms = cold_and_warm(cellar)
    with pytest.raises(InputError, match="pitch alone"):
        expected_of_arms(cellar.compose.cellar, "pitch", arms, ())
    with pytest.raises(InputError, match="one of protocol"):
        expected_of_arms(cellar.compose.cellar, "moon", arms, ())


def test_the_makers_own_trials_say_whether_it_would_show(cellar):
    must = cellar.keep("Clover", CLOVER)
    arms = (TrialArm("front", "everything_at_pitch"), TrialArm("staged", "thirds_on_days_0_2_4"))
    parts = cellar.compose.trial_parts
    assert own_spread(parts.notebook, "score") is None
    kept = start_trial(parts, "Two ways", "protocol", arms, (must,), vessels=6, seed=11,
                       now=cellar.now, pitched_at=cellar.now)  # fmt: skip
    values = {v.code: v.arm + 0.1 * v.vessel for v in kept.trial.vessels}
    judge_trial(parts, kept.key, cellar.now, values=values)
    found = own_spread(parts.notebook, "score")
    assert found.freedom == 4
    assert layout_in_days(parts.notebook, 6, 2).spread_assumed  # scores say nothing of days
    assert layout_in_days(parts.notebook, None, 2) is None


def test_the_command_says_the_same_and_starts_nothing(tmp_path, monkeypatch, capsys):
    monkeypatch.setenv("MUSTWRIGHT_HOME", str(tmp_path))
    compose = Compose(tmp_path)
    cellar = Cellar(compose)
    arms = cold_and_warm(cellar)
    found = expected_of_arms(compose.cellar, "temperature", arms, ())
    compose.close()
    typed = ["trial", "expect", "--thing", "temperature", "--vessels", "6"]
    typed += [f"--arm={arm.name}={arm.must}" for arm in arms]
    assert cli.run(typed) == 0
    said = capsys.readouterr().out
    assert said.splitlines() == expected_sentences(found)
    assert cli.run([*typed, "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == json.loads(json.dumps(expected_data(found)))
    assert cli.run(["trial", "show", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"trials": []}
    assert cli.run(["trial", "plan", "--vessels", "6", "--measure", "days", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["spread_learned"] is None
