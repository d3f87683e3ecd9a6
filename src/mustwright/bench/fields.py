"""The fields of a finishing step: what each is called and asks for, and what was typed in it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from dataclasses import fields as parameters
from datetime import date
from typing import Any, TypeVar

from mustwright.bench import kinds
from mustwright.bench.kinds import AsTyped, FieldKind
from mustwright.errors import InputError
from mustwright.finishing.law import FinishingLaw
from mustwright.unit_hints import example
from mustwright.unit_system import METRIC, current, degree_sign

Ask = TypeVar("Ask")
NOTHING = (None, "", ())
EXAMPLES = ("volume", "mass", "temperature")
LEFT_OUT = "if not given"


@dataclass(frozen=True)
class StepField:
    """One field of a step: the option of the command and the field of the form.

    Parameters
    ----------
    name : str
        In commands, forms, JSON and the log.
    label, hint : str
        What it is, and an example or a word on it; a bare example begins with a digit.
    to : str
        The argument that it fills; its name and unit if not given.
    default, taken : str
        What counts as typed where nothing was, and words that say so in the answer.
    needs : str
        What is asked for where it is missing; empty where it may be.
    choices : tuple of (value, words)
        To choose from; an empty value stands for leaving it out.
    many, rows : bool
        May come several times; a form gives it several rows.
    numbered : bool
        Of many, errors say which.
    fact : str or None
        The number of the batch or the liquid that fills it; the one of its own name when None.
    known : callable or None
        Gives suggestions.
    """

    name: str
    label: str
    hint: str = ""
    kind: FieldKind = kinds.TEXT
    to: str = ""
    default: str = ""
    taken: str = ""
    needs: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    many: bool = False
    rows: bool = False
    numbered: bool = False
    fact: str | None = None
    known: Callable[[], Iterable[str]] | None = None

    def but(self, **other: Any) -> StepField:
        """The same with something else about it."""
        return replace(self, **other)

    def needed(self) -> StepField:
        """The same where it may not be left out."""
        return self.but(needs=self.kind.such_as)

    def read(self, raw: object) -> Any:
        """What was typed, as its kind reads it."""
        return self.kind.empty if raw in NOTHING else self.kind.read(raw, self.name, AsTyped())

    @property
    def argument(self) -> str:
        """The argument that it fills."""
        return self.to or self.name + self.kind.unit

    @property
    def filled_by(self) -> str:
        """The number of the batch or the liquid that fills it; empty for none."""
        return self.name if self.fact is None else self.fact

    @property
    def shape(self) -> str:
        """How a form asks for it: ``line``, ``lines`` or ``tick``."""
        return "lines" if self.rows else "tick" if self.kind is kinds.FLAG else "line"

    @property
    def said_hint(self) -> str:
        """The hint, a bare example said to be one, and what counts when it is left out."""
        given = example(self.hint) if self.kind.dimension in EXAMPLES else self.hint
        first = given.partition(";")[0]
        is_example = first[:1].isdigit() and not first.endswith(LEFT_OUT)
        hint = f"such as {given}" if is_example else given
        if not self.default or self.choices:
            return hint
        usual = f"{self.default} {LEFT_OUT}"
        return f"{hint}; {usual}" if hint and given != self.default else usual

    @property
    def form_hint(self) -> str:
        """The hint above a field of a form."""
        said = self.said_hint
        said += _bare_words(self.kind.dimension)
        return f"One a line: {said.removeprefix('such as ')}" if self.rows else said

    @property
    def help(self) -> str:
        """Label, hint and choices in a sentence, for a command."""
        named = [_named(value, words) for value, words in self.choices if value]
        usual = [words for value, words in self.choices if not value] or [self.default]
        said = self.said_hint
        if named:
            said = ", ".join(named) + "".join(f"; {LEFT_OUT}: {words}" for words in usual if words)
        joint = ", " if said.startswith(("such as", "where")) else ": "
        return self.label + (f"{joint}{said}" if said else "") + "."


def _bare_words(dimension: str) -> str:
    """What a bare number is read as, where it is not litres and °C."""
    if dimension not in ("volume", "temperature") or current() == METRIC:
        return ""
    unit = current().volume if dimension == "volume" else degree_sign()
    return f"; a bare number is read as {unit}"


def _named(value: str, words: str) -> str:
    """A choice as it is typed, with what it means where that is not the same."""
    plain = value.replace("_", " ").replace("-", " ").lower()
    return value if f"{words.lower()} ".startswith(f"{plain} ") else f"{value} ({words})"


@dataclass(frozen=True)
class FormPart:
    """Fields that belong together; folded away where most makers leave them empty."""

    title: str
    fields: tuple[StepField, ...]
    folded: bool = False


class TypedFields(AsTyped):
    """The fields of one step as they were typed, each read by its kind.

    Parameters
    ----------
    asked : sequence of StepField
        The fields this step has; any other is refused.
    given : mapping of str to object
        As typed; empty fields count as left out.
    today : date or None
        Where a day is left out.
    """

    def __init__(
        self, asked: Sequence[StepField], given: Mapping[str, object], today: date | None = None
    ) -> None:
        super().__init__({k: v for k, v in given.items() if v not in NOTHING and v is not False})
        self.today = today
        names = [one.name for one in asked]
        for name in self.given:
            if name not in names:
                raise InputError(name, f"is no field of this step; known: {', '.join(names)}", name)
        self.values = {one.name: self._value(one) for one in asked}
        self._arguments = {one.argument: self.values[one.name] for one in asked}

    def __getitem__(self, name: str) -> Any:
        return self.values[name]

    @property
    def law(self) -> FinishingLaw:
        """The law to keep to."""
        found: FinishingLaw = self.values["profile"]
        return found

    def ask(self, question: Callable[..., Ask], **more: object) -> Ask:
        """The question of a use case, its parameters filled by the fields of those names."""
        names = [p.name for p in parameters(question)]  # type: ignore[arg-type]
        known = {name: self._arguments[name] for name in names if name in self._arguments}
        return question(**{**known, **more})

    def _value(self, one: StepField) -> Any:
        raw = self.given.get(one.name)
        if raw is None:
            if one.needs:
                raise InputError(one.name, f"needs {one.needs}", None)
            self.assumed += [f"{one.name}: not typed, {one.taken}"] if one.taken else []
            raw = one.default
        if not one.many:
            return one.kind.empty if raw == "" else one.kind.read(raw, one.name, self)
        return [
            one.kind.read(part, f"{one.name} {i}" if one.numbered else one.name, self)
            for i, part in enumerate(parts(raw), 1)
        ]


def parts(value: object) -> list[object]:
    """What came for a field of many; text is split at semicolons and line ends."""
    if isinstance(value, str):
        return [part.strip() for part in re.split(r"[;\n]", value) if part.strip()]
    if isinstance(value, Sequence):
        return list(value)
    return [] if value is None else [value]
