"""What the forms of a batch offer, and where the bench works a finishing step again."""

from __future__ import annotations

from urllib.parse import urlencode

from mustwright.batch.allowed_additions import may_go_in
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.plan import BatchPlan
from mustwright.bench.step_table import STEPS, page_with
from mustwright.texts import say


def feed_options(plan: BatchPlan) -> list[tuple[str, str]]:
    """Feeds of a plan to choose from: key, and number with name."""
    return [
        (f.key, say("{number}. {name}", number=i, name=f.name)) for i, f in enumerate(plan.feeds, 1)
    ]


def jar_options(plan: BatchPlan) -> list[tuple[str, str]]:
    """What may be written down as given: id and name."""
    return list(may_go_in(plan).items())


# Finishing steps --------------------------------------------------------------------------------

NO_PAGE = ("drawn", "blend")  # of a blend the lots have moved on


def worked_from(what: object) -> list[tuple[str, str]]:
    """The fields a finishing step was worked out from, in words."""
    if not isinstance(what, StepDone) or what.step not in STEPS:
        return []
    labels = {one.name: one.label for one in STEPS[what.step].fields}
    return [
        (labels.get(name, name.replace("_", " ")), text)
        for name, text in what.asked.items()
        if name != "batch"
    ]


def worked_again(what: object) -> str:
    """Where the bench works the same again, from the same fields; empty where it cannot."""
    if not isinstance(what, StepDone) or what.step in NO_PAGE or not what.asked:
        return ""
    page, chosen = page_with(what.step)
    asked = {k: v for k, v in what.asked.items() if k != "batch"}
    return f"/finish/{page.slug}?{urlencode({**chosen, **asked, 'show': '1'})}"
