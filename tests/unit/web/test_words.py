"""Plain English everywhere: no banned turn on any page, help, output or in the data."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

import product_text

BANNED = Path(__file__).parents[2] / "banned_words.txt"
LEAST_BANNED = 64  # the list only grows: raise this with it
MOST_WORDS = 25  # in the sentence that says what to do next
FEWEST_LINES = {"pages": 3000, "helps": 500, "outputs": 300, "data": 200}
# Addresses whose text is the formulas of all figures, and the documents by their own titles.
UNREAD = ("/working", "/sources")


def banned() -> list[tuple[re.Pattern[str], str]]:
    """Each pattern with its reason."""
    found = []
    for line in BANNED.read_text("utf-8").splitlines():
        if line and not line.startswith("#"):
            pattern, mark, reason = line.partition("  # ")
            assert mark, f"no reason: {line}"
            assert reason.strip(), f"no reason: {line}"
            found.append((re.compile(pattern, re.I), reason))
    return found


def offences(texts: Iterable[tuple[str, list[str]]]) -> tuple[list[str], int]:
    """What is banned and where, and how many lines were looked at."""
    patterns = banned()
    found, count, seen = [], 0, set()
    for where, lines in texts:
        if where.partition("?")[0].endswith(UNREAD):
            continue
        count += len(lines)
        for line in lines:
            for pattern, reason in patterns if line not in seen else ():
                if hit := pattern.search(line):
                    found.append(f"{where}: {hit[0]!r} in {line[:160]!r} ({reason})")
            seen.add(line)
    return found, count


def test_the_list_of_banned_words_only_grows():
    patterns = [pattern.pattern for pattern, _ in banned()]
    assert len(patterns) == len(set(patterns)) >= LEAST_BANNED
    for crooked in ("All that is known of it, and whence", "it sticks or crawls in 3 %",
                    "must.volume: bare number read as L"):  # fmt: skip
        assert offences([("a page", [crooked])])[0], crooked
    assert offences([("a page", ["Mix 5 kg of honey with 15 L of water."])]) == ([], 1)


def test_pages_and_commands_over_a_lived_in_cellar_are_in_plain_english(client, app):
    compose = app.state.compose
    found, count = offences(product_text.pages(client, compose))
    assert count > FEWEST_LINES["pages"]
    printed, lines = offences(product_text.outputs(compose))
    assert lines > FEWEST_LINES["outputs"]
    assert not found + printed, "\n".join(found + printed)
    sentences = dict(product_text.next_sentences(compose))
    assert len(sentences) >= 7
    for slug, sentence in sentences.items():
        assert len(sentence.split()) <= MOST_WORDS, f"{slug}: {sentence}"


def test_helps_and_data_are_in_plain_english():
    found, count = offences(product_text.helps())
    assert count > FEWEST_LINES["helps"]
    told, lines = offences(product_text.data_texts())
    assert lines > FEWEST_LINES["data"]
    assert not found + told, "\n".join(found + told)
