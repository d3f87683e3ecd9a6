"""Tailored plans among the protocols: days to dry across, chance of not finishing up."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from mustwright.planning.outcome import Outcome
from mustwright.planning.plan_result import Comparison
from mustwright.planning.tailored import TailoredPlan
from mustwright.texts import say
from mustwright.web.pages.figures import said_number
from mustwright.web.pictures.frame import Frame, Scale
from mustwright.web.pictures.svg import Canvas, dot, near, text
from mustwright.web.pictures.values import ValueTable

LAST_DAY = 42.0  # the forecast ends here
DAY_STEPS, CHANCE_STEPS = (1.0, 2.0, 5.0, 10.0), (0.01, 0.02, 0.05, 0.1, 0.2)
TOP, BOTTOM, HEIGHT = 26.0, 250.0, 290.0
LABEL = 16.0  # nearer than this, labels would lie on one another [px]


def tailored_picture(
    compared: Comparison, found: Sequence[TailoredPlan], narrow: bool = False
) -> Markup:
    """A dot for each protocol, a numbered one for each plan found; down and left is better."""
    canvas = Canvas("tailored", narrow)
    rivals = [_place(outcome) for outcome in compared.outcomes]
    ours = [_place(one.outcome) for one in found]
    days = [day for day, _ in (*rivals, *ours)]
    chances = [chance for _, chance in (*rivals, *ours)]
    low = min(days) - 1
    across = Scale(low, max(max(days) + 1, low + 4), 52.0, canvas.width - 14)
    up = Scale(0.0, max(max(chances) * 1.1, 0.05), BOTTOM, TOP)
    frame = Frame(across, up)
    body = frame.ticks(say("not finished"), CHANCE_STEPS, 8, ".0%")
    for day in across.steps(DAY_STEPS, 8 if not narrow else 5):
        words = (
            say("{day:g}", day=day) if day < LAST_DAY else say("{LAST_DAY:g}+", LAST_DAY=LAST_DAY)
        )
        body.append(near(across.at(day), BOTTOM + 18, words, canvas.width, "t tick"))
    body.append(
        text(canvas.width - 14, HEIGHT - 4, say("days to dry, middle run"), "t tick", "end")
    )
    body += [dot(across.at(x), up.at(y), "rival", 4) for x, y in rivals]
    body += [dot(across.at(x), up.at(y), "dot", 5) for x, y in ours]
    for names, x, y in _numbered([(across.at(x), up.at(y)) for x, y in ours]):
        body.append(near(x, y - 9, names, canvas.width, "t mark"))
    title = say(
        "{rivals} protocols and {ours} plans made for this must by days to dry "
        "and by the chance of not finishing: the further down and left, the "
        "better.",
        rivals=len(rivals),
        ours=len(ours),
    )
    return canvas.picture(HEIGHT, title, body, frame.axis_words)


def tailored_values(compared: Comparison, found: Sequence[TailoredPlan]) -> ValueTable:
    """What stands behind that picture: each dot by name, the quickest first."""
    named = [(f"{k}. {one.name.capitalize()}", one.outcome) for k, one in enumerate(found, 1)]
    named += [(one.plan.protocol_name, one.outcome) for one in compared.best_first() if one.outcome]
    rows = []
    for name, outcome in named:
        days, chance = outcome.days_to_dry, outcome.chance_of_sticking
        said = said_number(days, days.value), said_number(chance, chance.value)
        rows.append((_place(outcome)[0], name, said))
    return ValueTable(
        (say("days to dry"), say("not finished")), tuple(sorted(rows, key=lambda row: row[0]))
    )


def _place(outcome: Outcome) -> tuple[float, float]:
    return min(outcome.days_to_dry.value, LAST_DAY), outcome.chance_of_sticking.value


def _numbered(places: Sequence[tuple[float, float]]) -> list[tuple[str, float, float]]:
    """The number of each place [px]; those that cannot be told apart share a label."""
    found: list[tuple[list[str], float, float]] = []
    for k, (x, y) in enumerate(places, 1):
        beside = next((one for one in found if max(abs(one[1] - x), abs(one[2] - y)) < LABEL), None)
        if beside is None:
            found.append(([str(k)], x, y))
        else:
            beside[0].append(str(k))
    return [(", ".join(numbers), x, y) for numbers, x, y in found]
