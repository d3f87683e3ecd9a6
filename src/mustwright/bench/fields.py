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
from mustwright.must.gravity_text import bare_words, with_gravities
from mustwright.texts import Text, join, redone, say
from mustwright.unit_hints import example
from mustwright.unit_system import METRIC, current, degree_sign

Ask = TypeVar("Ask")
NOTHING = (None, "", ())
EXAMPLES = ("volume", "mass", "temperature")
LEFT_OUT = "if not given"  # how English hints end that say what counts then
_DECIMAL = re.compile(r"(\d+\.\d+)")


@dataclass(frozen=True)
class StepField:
    """One field of a step: the option of the command and the field of the form.

    Parameters
    ----------
    name : str
        In commands, forms, JSON and the log.
    label, hint : str
        What it is, and an example or a word on it; a bare example begins with a digit.
    amounts : tuple of (str, str)
        What names in braces stand for in the hint: amounts, said in the units chosen.
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
    amounts: tuple[tuple[str, str], ...] = ()

    def but(self, **other: Any) -> StepField:
        """The same with something else about it."""
        amounts = () if "hint" in other else self.amounts
        return replace(self, **{"amounts": amounts, **other})

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
        given = self._given
        first = given.partition(";")[0]
        is_example = first[:1].isdigit() and not first.endswith(LEFT_OUT)
        return self._with_usual(say("such as {given}", given=given) if is_example else given)

    @property
    def _given(self) -> str:
        """The hint with its amounts in the units chosen."""
        shown = example if self.kind.dimension in EXAMPLES else with_gravities
        if self.amounts:
            amounts = {name: in_figures(shown(one)) for name, one in self.amounts}
            return self.hint.format(**amounts)
        return self.hint if isinstance(self.hint, Text) else in_figures(shown(self.hint))

    def _with_usual(self, hint: str) -> str:
        """A hint, and what counts when the field is left out."""
        if not self.default or self.choices:
            return hint
        usual = say("{usual} if not given", usual=in_figures(self.default))
        return join("; ", (hint, usual)) if hint and self._given != self.default else usual

    @property
    def form_hint(self) -> str:
        """The hint above a field of a form."""
        if not self.rows:
            return join("", (self.said_hint, _bare_words(self.kind)))
        hint = join("", (self._with_usual(self._given), _bare_words(self.kind)))
        return say("One a line: {hint}", hint=hint)

    @property
    def help(self) -> str:
        """Label, hint and choices in a sentence, for a command."""
        named = [_named(value, words) for value, words in self.choices if value]
        usual = [words for value, words in self.choices if not value] or [self.default]
        said = self.said_hint
        if named:
            left_out = [say("if not given: {usual}", usual=in_figures(one)) for one in usual if one]
            said = join("; ", (join(", ", named), *left_out))
        joint = ", " if said.startswith(("such as", "where")) else ": "
        return join("", (self.label, joint, said, ".") if said else (self.label, "."))


def _bare_words(kind: FieldKind) -> str:
    """What a bare number is read as, where it is not litres, °C and a specific gravity."""
    dimension = kind.dimension
    if kind.scaled is not None and bare_words():
        return join("; ", ("", bare_words()))
    if dimension not in ("volume", "temperature") or current() == METRIC:
        return ""
    unit = current().volume if dimension == "volume" else degree_sign()
    return say("; without a unit it is read as {unit}", unit=unit)


def _named(value: str, words: str) -> str:
    """A choice as it is typed, with what it means where that is not the same."""
    return redone(_typed_as, value, words)


def _typed_as(value: str, words: str) -> str:
    plain = value.replace("_", " ").replace("-", " ").lower()
    return value if f"{words.lower()} ".startswith(f"{plain} ") else f"{value} ({words})"


def in_figures(text: str) -> Text:
    """A bare example, its decimal sign as each language writes it.

    Examples
    --------
    >>> in_figures("0.5 g/L")
    '0.5 g/L'
    """
    if isinstance(text, Text):
        return text
    return join("", [_number(part) if i % 2 else part
                     for i, part in enumerate(_DECIMAL.split(text))])  # fmt: skip


def _number(text: str) -> Text:
    return say("{x:.{places}f}", x=float(text), places=len(text.partition(".")[2]))


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
                raise InputError(
                    name,
                    say("is no field of this step; known: {known}", known=", ".join(names)),
                    name,
                )
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
                raise InputError(one.name, say("needs {needs}", needs=one.needs), None)
            if one.taken:
                self.assumed.append(
                    say("{label}: not given, so {taken}.", label=one.label, taken=one.taken)
                )
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
