"""What was asked for last is kept, up to a total weight."""

from __future__ import annotations

from mustwright.recent import Recent


def test_what_was_asked_for_longest_ago_goes_first():
    kept: Recent[str] = Recent(10, len)
    kept.keep("a", "four")
    kept.keep("b", "five5")
    assert kept.get("a") == "four"
    kept.keep("c", "six666")
    assert (kept.get("a"), kept.get("b"), kept.get("c")) == ("four", None, "six666")


def test_a_value_that_is_kept_again_weighs_once_and_one_can_be_dropped():
    kept: Recent[str] = Recent(10, len)
    for text in ("123", "12345678"):
        kept.keep("a", text)
    kept.keep("b", "12")
    assert (kept.get("a"), kept.get("b")) == ("12345678", "12")
    kept.drop("a")
    assert kept.get("a") is None
    kept.keep("c", "12345678")
    assert kept.get("b") == "12"
