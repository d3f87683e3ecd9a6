"""How a finishing step is declared: what it asks, and how it is done, said, used and recorded."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from mustwright.batch.finishing_record import StepDone
from mustwright.batch.too_soon import BottledAs
from mustwright.bench.amounts import Use, additions_used
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.liquid import MeadNow
from mustwright.bench.recording import AnsweredStep
from mustwright.errors import validity_notes
from mustwright.texts import say

Given = Mapping[str, object]


@dataclass(frozen=True)
class FinishingStep:
    """One thing done to a finished mead; every shell takes it from here.

    Parameters
    ----------
    name : str
        The command, and the step in the log.
    result : type
        What `work` gives; a result leads back to its step.
    heading, about : str
        What it does, and what it tells: above the page, and in the help of the command.
    parts : tuple of FormPart
        Its fields in the order they are asked for. What a form asks for in pieces is named with a
        dot (``target.alcohol``) and belongs to the field of `gathered` before the dot.
    work : callable
        The use case, from the fields as read.
    said : callable
        Its result in a sentence or two that a maker can act on.
    recorded : callable
        What the log keeps: of the result, what it was worked out from, and the amounts used.
    uses : callable
        The amounts that a maker confirms; the additions when left out.
    meets : callable
        The liquid that additions meet, of the one before.
    leaves : callable
        Facts of the liquid after it that do not follow from what goes in.
    closes : callable or None
        How it closes bottles up, of the fields as read and the result; None of a step, or of a
        result, that closes none.
    gathered : tuple of StepField
        Fields that a command takes whole and a form in pieces.
    lot : tuple of FormPart
        Of a blend, what a form asks of each lot.
    unread : tuple of str
        Fields of the form that the use case does not read: of the sheet of labels.
    title, button, cautions : str, str, tuple of str
        Of its page, where it has one of its own.
    """

    name: str
    result: type
    heading: str
    about: str
    parts: tuple[FormPart, ...]
    work: Callable[[TypedFields], Any]
    said: Callable[[Any], str]
    recorded: Callable[[Any, AnsweredStep, Mapping[str, float]], StepDone]
    uses: Callable[[Any, float], list[Use]] = additions_used
    meets: Callable[[MeadNow, Any], MeadNow] = lambda before, _result: before
    leaves: Callable[[MeadNow, Any], dict[str, Any]] = lambda _before, _result: {}
    closes: Callable[[TypedFields, Any], BottledAs | None] | None = None
    gathered: tuple[StepField, ...] = ()
    lot: tuple[FormPart, ...] = ()
    unread: tuple[str, ...] = ()
    title: str = ""
    button: str = say("Work it out")
    cautions: tuple[str, ...] = ()

    @property
    def form_fields(self) -> tuple[StepField, ...]:
        """Every field of the form but the rows of lots."""
        return tuple(one for part in self.parts for one in part.fields)

    @property
    def fields(self) -> tuple[StepField, ...]:
        """Every field that the use case reads."""
        whole = [f for f in self.form_fields if "." not in f.name and f.name not in self.unread]
        return (*self.gathered, *whole)

    def run(self, given: Given, today: date) -> Any:
        """Do it, with what was assumed in reading and out-of-range notes among its notes.

        Raises
        ------
        InputError, ImpossibleError
        """
        typed = TypedFields(self.fields, given, today)
        with validity_notes() as outside:
            result = self.work(typed)
        recorded = result.recorded
        fresh = [note for note in outside if not any(note in said for said in recorded.notes)]
        law = typed.values.get("profile")
        edition = (
            []
            if law is None
            else [say("Law: {law}: {edition}.", law=law.name, edition=law.edition)]
        )
        notes = tuple(dict.fromkeys([*typed.assumed, *fresh, *recorded.notes, *edition]))
        return replace(result, recorded=replace(recorded, notes=notes))


@dataclass(frozen=True)
class StepPage:
    """A page of the bench: a step, or two that makers look for in one place.

    Parameters
    ----------
    steps : mapping of str to FinishingStep
        By what stands in the field `by`; the first one holds for anything else.
    """

    slug: str
    title: str
    heading: str
    about: str
    parts: tuple[FormPart, ...]
    cautions: tuple[str, ...]
    steps: Mapping[str, FinishingStep]
    button: str = say("Work it out")
    by: str = ""

    @property
    def fields(self) -> tuple[StepField, ...]:
        """Every field of the form but the rows of lots."""
        return tuple(one for part in self.parts for one in part.fields)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the fields."""
        return tuple(one.name for one in self.fields)

    @property
    def lot(self) -> tuple[FormPart, ...]:
        """What is asked of each lot; empty where there are none."""
        return self.step({}).lot

    def step(self, given: Given) -> FinishingStep:
        """The step that was chosen."""
        first = next(iter(self.steps.values()))
        return self.steps.get(str(given.get(self.by)), first)

    def run(self, given: Given, today: date) -> Any:
        """Do the step that was chosen, by its own fields."""
        step = self.step(given)
        others = set() if len(self.steps) == 1 else {*self.names} - {f.name for f in step.fields}
        return step.run({k: v for k, v in given.items() if k not in others}, today)


def page_of(step: FinishingStep) -> StepPage:
    """The page of a step that has one of its own."""
    return StepPage(
        step.name, step.title, step.heading, step.about, step.parts, step.cautions,
        {step.name: step}, step.button,
    )  # fmt: skip
