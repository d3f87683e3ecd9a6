"""The `tasting` command: what a panel can show, what it has shown, who gets which glass when."""

from __future__ import annotations

import click

from mustwright.cli.numbers import NUMBER
from mustwright.cli.speech import echo
from mustwright.cli.spoken_help import group
from mustwright.errors import InputError
from mustwright.texts import literal, say

# As in mustwright.learning.d_prime.TESTS, which costs NumPy to import; a test holds them together.
TESTS = ("triangle", "paired", "duo-trio", "tetrad")
TABLES = ("ranking", "scores")
_RANK_SUM = literal("  {name}: rank sum {value:g}")
_MEAN_SCORE = literal("  {name}: mean score {value:g}")


@group("tasting")
def tasting_command() -> None:
    """Blind tastings: how many tasters, in which order, and what their answers show."""


@tasting_command.command("plan")
@click.option("--test", type=click.Choice(TESTS), required=True, help="The kind of test.")
@click.option("--tasters", type=int, required=True, help="How many tasters, one answer each.")
@click.option("--alpha", type=NUMBER, default=0.05, show_default=True, help="Level.")
@click.option(
    "--sided", type=click.Choice(("one", "two")), help="For a paired test; two if not given."
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def plan(test: str, tasters: int, alpha: float, sided: str | None, as_json: bool) -> None:
    """Say what this panel can show, before a bottle is opened."""
    from mustwright.cli.sheets import print_json
    from mustwright.learning.discrimination import plan_panel, similarity
    from mustwright.learning.tasting_json import panel_plan_data
    from mustwright.learning.tasting_text import plan_sentences, tasting_cautions

    found = plan_panel(test, tasters, alpha, sided)
    if as_json:
        print_json(panel_plan_data(found))
        return
    alike = similarity(test, tasters).message
    for line in [*plan_sentences(found), alike, "", *tasting_cautions()]:
        echo(line)


@tasting_command.command("judge")
@click.option(
    "--test", type=click.Choice((*TESTS, *TABLES)), required=True, help="The kind of test."
)
@click.option("--tasters", type=int, help="Answers in all.")
@click.option("--correct", type=int, help="Right answers; paired: answers for the one mead.")
@click.option(
    "--sided", type=click.Choice(("one", "two")), help="For a paired test; two if not given."
)
@click.option("--file", metavar="CSV", help="Ranks or scores: rows tasters, columns products.")
@click.option("--sequential", is_flag=True, help="Answered glass by glass: go on or stop?")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def judge(
    test: str,
    tasters: int | None,
    correct: int | None,
    sided: str | None,
    file: str | None,
    sequential: bool,
    as_json: bool,
) -> None:
    """Say what the answers show."""
    if test in TABLES:
        _judge_table(test, file, as_json)
        return
    for name, value in (("--tasters", tasters), ("--correct", correct)):
        if value is None:
            raise InputError(
                name, say("needs a number for a {test} test", test=test), say("nothing")
            )
    assert tasters is not None
    assert correct is not None
    _judge_count(test, tasters, correct, sided, sequential, as_json)


def _judge_count(
    test: str, tasters: int, correct: int, sided: str | None, sequential: bool, as_json: bool
) -> None:
    from mustwright.cli.sheets import print_json
    from mustwright.learning.discrimination import judge_panel
    from mustwright.learning.tasting_json import panel_result_data
    from mustwright.learning.tasting_text import (
        distance_sentence,
        result_sentence,
        sequential_sentence,
    )

    result = judge_panel(test, tasters, correct, sided)
    step = sequential_sentence(test, tasters, correct) if sequential else None
    if as_json:
        print_json(panel_result_data(result) | ({"sequential": step} if step else {}))
        return
    echo(result_sentence(result))
    echo(distance_sentence(result))
    if step:
        echo(step)


def _judge_table(test: str, file: str | None, as_json: bool) -> None:
    from mustwright.cli.sheets import file_text, print_json
    from mustwright.learning.panel_csv import read_panel
    from mustwright.learning.ranking import judge_ranking
    from mustwright.learning.scores import judge_scores
    from mustwright.learning.tasting_json import ranking_data, scores_data

    if file is None:
        raise InputError("--file", say("needs a table of {test}", test=test), say("nothing"))
    products, table = read_panel(file_text(file, "--file"), "--file")
    if test == "ranking":
        found = ranking_data(judge_ranking(table), products)
    else:
        found = scores_data(judge_scores(table), products)
    if as_json:
        print_json(found)
        return
    echo(found["message"])
    values, wording = (
        (found["rank_sums"], _RANK_SUM) if test == "ranking" else (found["means"], _MEAN_SCORE)
    )
    for name, value in zip(products, values, strict=True):
        echo(wording.format(name=name, value=value))


@tasting_command.command("order")
@click.option("--products", type=int, required=True, help="Meads to taste.")
@click.option("--tasters", type=int, required=True, help="How many taste.")
@click.option(
    "--seed",
    type=int,
    default=1,
    show_default=True,
    help="Random seed: the same seed gives the same orders.",
)
@click.option("--glasses", type=int, help="Meads for each taster; all if not given.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
def order(products: int, tasters: int, seed: int, glasses: int | None, as_json: bool) -> None:
    """Balanced serving orders, with a code for every glass."""
    from mustwright.cli.sheets import print_json
    from mustwright.learning.serving_order import glass_codes, serving_orders
    from mustwright.learning.tasting_json import serving_data
    from mustwright.learning.tasting_text import balance_sentence, tasting_cautions

    found = serving_orders(products, tasters, seed, glasses)
    codes = glass_codes(found.orders, seed)
    if as_json:
        print_json(serving_data(found, codes, products, seed))
        return
    for number, (row, marks) in enumerate(zip(found.orders, codes, strict=True), 1):
        row_text = "  ".join(f"{mead} ({code})" for mead, code in zip(row, marks, strict=True))
        echo(say("taster {number:3d}: {glasses}", number=number, glasses=row_text))
    for line in [balance_sentence(found), "", *tasting_cautions()]:
        echo(line)
