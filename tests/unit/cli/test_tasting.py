"""`tasting` and `trial`: their JSON keys, their words, and clear refusals."""

from __future__ import annotations

import json
import math

import pytest

from mustwright.cli import main as cli
from mustwright.cli import tasting
from mustwright.learning.d_prime import TESTS


@pytest.fixture
def ask(capsys):
    """Run a command; its JSON, or its text."""

    def run(*typed: str, code: int = 0):
        assert cli.run(list(typed)) == code
        out, err = capsys.readouterr()
        if code:
            return err
        return json.loads(out) if "--json" in typed else out

    return run


def test_the_tests_offered_are_those_of_the_core():
    assert tasting.TESTS == TESTS


def test_plan(ask):
    said = ask("tasting", "plan", "--test", "triangle", "--tasters", "12", "--json")
    assert said["critical"] == 8
    assert said["true_alpha"] == pytest.approx(0.0188, abs=5e-5)
    assert said["power"] == pytest.approx({"0.3": 0.26, "0.5": 0.63, "0.7": 0.93}, abs=0.006)
    assert said["recommended_tasters"] == 16
    assert said["method"] == "exact binomial"
    assert not said["similarity"]["possible"]
    text = " ".join(said["cautions"])
    assert all(word in text for word in ("spit", "drives", "legal drinking age"))


def test_plan_where_nothing_can_be_shown(ask):
    typed = ("--test", "paired", "--tasters", "5", "--sided", "two")
    assert ask("tasting", "plan", *typed, "--json")["critical"] is None
    assert "cannot show a difference at 5 %" in ask("tasting", "plan", *typed)


def test_judge(ask):
    typed = ("--test", "triangle", "--tasters", "100", "--correct", "42")
    said = ask("tasting", "judge", *typed, "--json")
    tail = sum(math.comb(100, k) * 2 ** (100 - k) for k in range(42, 101)) / 3**100
    assert said["d_prime"] == pytest.approx(1.0125, abs=5e-5)
    assert said["d_prime_se"] ** 2 == pytest.approx(0.0985, abs=5e-5)
    assert said["d_prime_low"] < said["d_prime"] < said["d_prime_high"]
    assert said["p"] == pytest.approx(tail)
    assert "A difference is shown" in ask("tasting", "judge", *typed)


def test_judge_says_that_no_difference_is_no_sameness(ask):
    said = ask("tasting", "judge", "--test", "triangle", "--tasters", "6", "--correct", "2")
    assert "No difference is shown" in said
    assert "does not show that the two are the same" in said


def test_judge_all_right_has_no_upper_end(ask):
    said = ask(
        "tasting", "judge", "--test", "duo-trio", "--tasters", "7", "--correct", "7", "--json"
    )
    assert (said["d_prime"], said["d_prime_se"], said["d_prime_high"]) == (None, None, None)
    assert said["d_prime_low"] > 0


def test_judge_ranking(ask, tmp_path):
    path = tmp_path / "ranks.csv"
    path.write_text("taster,dry,half,sweet\n" + "A,1,2,3\n" * 3 + "B,1,3,2\n", encoding="utf-8")
    said = ask("tasting", "judge", "--test", "ranking", "--file", str(path), "--json")
    assert said["products"] == ["dry", "half", "sweet"]
    assert (said["friedman"], said["critical"]) == pytest.approx((6.5, 6.5))
    assert said["p"] == pytest.approx(0.0417, abs=1e-4)
    assert said["page_l"] == 55.0
    assert said["method"] == "exact permutation"
    bare = tmp_path / "bare.csv"
    bare.write_text("1,2,3\n1,2,3\n1,2,3\n1,3,2\n", encoding="utf-8")
    again = ask("tasting", "judge", "--test", "ranking", "--file", str(bare), "--json")
    assert (again["p"], again["page_l"]) == (said["p"], said["page_l"])


def test_judge_scores(ask, tmp_path):
    path = tmp_path / "scores.csv"
    path.write_text("5,7\n6,7\n4,7\n5,6\n6,9\n3,5\n", encoding="utf-8")
    said = ask("tasting", "judge", "--test", "scores", "--file", str(path), "--json")
    assert said["p"] == 0.03125
    assert said["difference"] == 2.0


def test_order(ask):
    typed = ("tasting", "order", "--products", "4", "--tasters", "8", "--seed", "3", "--json")
    said = ask(*typed)
    assert len(said["orders"]) == 8
    assert all(sorted(order) == [1, 2, 3, 4] for order in said["orders"])
    codes = [code for row in said["codes"] for code in row]
    assert len(set(codes)) == 32
    assert all(100 <= code <= 999 for code in codes)
    assert said["balanced"]
    assert said == ask(*typed)


def test_trial_plan(ask):
    typed = ("trial", "plan", "--vessels", "4", "--arms", "2", "--seed", "1")
    said = ask(*typed, "--json")
    assert said["smallest_p"] == pytest.approx(1 / 6)
    assert said["detectable_difference"] is None
    assert [v["vessel"] for v in said["allocation"]] == [1, 2, 3, 4]
    assert sorted(v["arm"] for v in said["allocation"]) == [1, 1, 2, 2]
    assert "no difference, however large" in ask(*typed)
    assert ask("trial", "plan", "--vessels", "8", "--json")["detectable_difference"] > 1


@pytest.mark.parametrize(
    ("typed", "field"),
    [
        (("tasting", "judge", "--test", "triangle", "--tasters", "5"), "--correct"),
        (("tasting", "judge", "--test", "triangle", "--tasters", "5", "--correct", "6"), "correct"),
        (("tasting", "judge", "--test", "ranking"), "--file"),
        (("tasting", "order", "--products", "1", "--tasters", "5"), "products"),
        (("trial", "plan", "--vessels", "5"), "vessels"),
    ],
)
def test_refusals_name_the_field(ask, typed, field):
    assert f" {field}: " in ask(*typed, code=2)


def test_a_table_with_a_word_in_it_names_line_and_column(ask, tmp_path):
    path = tmp_path / "ranks.csv"
    path.write_text("taster,a,b,c\nA,1,2,3\nB,1,x,3\n", encoding="utf-8")
    said = ask("tasting", "judge", "--test", "ranking", "--file", str(path), code=2)
    assert "line 3 column 3: needs a number" in said
