"""Is it finished and stable?"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date

from mustwright.batch.finishing_record import StepDone
from mustwright.batch.finishing_text import day_said
from mustwright.bench import kinds
from mustwright.bench import shared_fields as shared
from mustwright.bench.fields import FormPart, StepField, TypedFields
from mustwright.bench.kinds import AsTyped, FieldKind, gravity_of
from mustwright.bench.recording import AnsweredStep
from mustwright.bench.step import FinishingStep
from mustwright.errors import InputError
from mustwright.finishing.movement import GravityReading
from mustwright.finishing.stability import Stability, StabilityAsk, judge_stability
from mustwright.must.gravity import gravity_from_brix
from mustwright.must.gravity_text import with_scale
from mustwright.texts import literal, say
from mustwright.units import parse_quantity
from mustwright.yeast.pitch import strain_called, strains

_DATED = re.compile(r"\s*(\d{4}-\d{2}-\d{2})[T,: ]\s*(.+)")
_ERROR = re.compile(r"\s*(?:±|\+/?-)\s*")
_COUNTED = re.compile(r"\s*([+-]?\d+(?:[.,]\d+)?\s*[a-zA-Z]*)\s*[:=,]\s*(.+)")
_SUCH_AS = say("needs a day and a gravity such as '2026-01-05 1.002' or '7 d: 1.002'")
_VERDICTS = {
    "dry and settled": say("It is dry and has settled: it may be bottled without gas."),
    "settled and sterile": say("It has settled and is sterile: it may be bottled without gas."),
    "settled, not safe": say("Gravity is steady, but it is not safe to bottle as it is."),
    "moving": say("It is probably still fermenting: do not bottle it."),
    "too soon to tell": say("It is too soon to tell: do not bottle it yet."),
}


def read_reading(text: object, name: str, _among: object = None) -> tuple[bool, GravityReading]:
    """One reading, and whether its day is a date; perhaps with its error.

    Examples
    --------
    >>> read_reading("7 d: 1.002", "reading")
    (False, GravityReading(day=7.0, gravity=1.002, error=None))
    >>> read_reading("2026-01-05 1.002 ± 0.003", "reading")
    (True, GravityReading(day=739621.0, gravity=1.002, error=0.003))
    """
    if isinstance(text, (list, tuple)) and len(text) == 2:
        between = " " if _DATED.match(f"{text[0]} x") else ": "
        text = between.join(map(str, text))
    if not isinstance(text, str):
        raise InputError(name, _SUCH_AS, text)
    text, error = _with_error(text, name)
    if dated := _DATED.fullmatch(text):
        try:
            day = float(date.fromisoformat(dated[1]).toordinal())
        except ValueError:
            raise InputError(name, _SUCH_AS, text) from None
        return True, GravityReading(day, gravity_of(dated[2], name), error)
    counted = _COUNTED.fullmatch(text)
    when = parse_quantity(counted[1], name) if counted else None
    if counted is None or when is None or when.dimension not in ("time", "number"):
        raise InputError(name, _SUCH_AS, text)
    days = when.value / 24 if when.dimension == "time" else when.value
    return False, GravityReading(days, gravity_of(counted[2], name), error)


def _with_error(text: str, name: str) -> tuple[str, float | None]:
    """A reading without its error, and the error where one stands behind it."""
    parts = _ERROR.split(text)
    if len(parts) == 1:
        return text, None
    error = parse_quantity(parts[1], name) if len(parts) == 2 else None
    if error is not None and error.unit in ("Brix", "Plato"):
        return parts[0], float(gravity_from_brix(error.value)) - 1.0
    if error is None or error.dimension != "number":
        raise InputError(name, say("needs one error behind the gravity, such as '± 0.003'"), text)
    return parts[0], error.value


def _reading_scaled(text: str, name: str) -> str:
    """Readings as typed into a form, bare gravities with the scale chosen."""

    def one(line: str) -> str:
        found = _DATED.fullmatch(line) or _COUNTED.fullmatch(line)
        if not found:
            return line
        gravity, *error = _ERROR.split(found[2])
        said = [with_scale(gravity, name), *(with_scale(e, name) for e in error)]
        return line[: found.start(2)] + " ± ".join(said)

    return "\n".join(map(one, text.split("\n")))


def _tolerance_of(raw: object, name: str, among: AsTyped) -> tuple[float, float]:
    """What a kind of yeast reaches [% vol]."""
    figure = strain_called(raw, name).alcohol_tolerance_pct
    if "tolerance" not in among.given:
        among.assumed.append(
            say("yeast: alcohol tolerance by kind, from memory; the label is better")
        )
    low, high = figure.low, figure.high
    return figure.value if low is None else low, figure.value if high is None else high


def _work(typed: TypedFields) -> Stability:
    if len({dated for dated, _ in typed["reading"]}) > 1:
        raise InputError("reading", say("needs all days as dates, or all as counts"), "a mixture")
    low, high = typed["tolerance"] or typed["yeast"] or (None, None)
    ask = typed.ask(
        StabilityAsk,
        readings=[reading for _, reading in typed["reading"]],
        tolerance_low_pct=low,
        tolerance_high_pct=high,
    )
    found = judge_stability(ask)
    day = max(r.day for r in ask.readings) + found.next_check_days.value
    if not typed["reading"][0][0]:
        return replace(found, next_check=say("day {day:g}", day=day))
    if not 1 <= day <= date.max.toordinal():
        return found
    return replace(found, next_check=date.fromordinal(int(day)).isoformat())


def _said(result: Stability) -> str:
    verdict, days = _VERDICTS[result.verdict], result.next_check_days.value
    if result.next_check:
        return say(
            "{verdict} Look again on {day}, {days:.0f} days after the last reading.",
            verdict=verdict,
            day=day_said(result.next_check),
            days=days,
        )
    return say(
        "{verdict} Look again later, {days:.0f} days after the last reading.",
        verdict=verdict,
        days=days,
    )


def _recorded(result: Stability, _case: AnsweredStep, _used: Mapping[str, float]) -> StepDone:
    return StepDone("stable", words={"verdict": result.verdict, "next check": result.next_check})


STABLE = FinishingStep(
    "stable", Stability, say("Is it finished and stable?"),
    say("Type your readings and what you know of the sugar. You get a verdict, the chance that it "
        "still ferments, and the day to check again."),
    (
        FormPart("", (
            StepField(
                "reading", say("Gravity readings"),
                literal("day and gravity, such as 2026-01-05 {gravity} or 7 d: {gravity}"),
                FieldKind("'DAY GRAVITY'", read_reading, scaled=_reading_scaled),
                many=True, rows=True, numbered=True, amounts=(("gravity", "1.002"),),
            ),
        )),
        FormPart(say("Its sugar and alcohol"), (
            shared.ORIGINAL, shared.RESIDUAL, shared.ALCOHOL, shared.TOLERANCE,
            StepField(
                "yeast", say("Or the kind of yeast"), say("where no tolerance is typed"),
                FieldKind("KIND", _tolerance_of),
                known=lambda: [one.name for one in strains().values()],
            ),
        )),
        FormPart(say("More that is known"), (
            StepField("nitrogen", say("Nitrogen left that yeast could use"), "20 mg/L", kinds.MG_L),
            StepField("error", say("Error of your hydrometer"), "0.001", kinds.NUMBER,
                      to="reading_error"),
            StepField("sterile", say("Pasteurised or filtered sterile since"), kind=kinds.FLAG),
        ), folded=True),
    ),
    _work, _said, _recorded,
    title=say("Done and stable?"), button=say("Check it"), cautions=("pressure_glass",),
)  # fmt: skip
