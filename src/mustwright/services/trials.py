"""Trials in the cellar: a batch for each vessel, values under codes, the lot opened at the end."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from mustwright.batch.codec import record_from
from mustwright.batch.progress import Progress, progress_of
from mustwright.errors import InputError
from mustwright.learning.differences import SheetSide, differing, seen_days
from mustwright.learning.trial import (
    TrialAnswer,
    TrialArm,
    TrialRecord,
    answer,
    check_thing,
    new_trial,
    opened,
    scored,
)
from mustwright.learning.trial_design import VesselSpread
from mustwright.learning.vessel_spread import vessel_spread
from mustwright.nutrition.protocols import protocol_called
from mustwright.plain_data import data_of
from mustwright.planning.kinetic_inputs import conditions_of, must_at_pitch
from mustwright.planning.must_setup import Ground
from mustwright.planning.plan import plan
from mustwright.planning.plan_result import PlanResult
from mustwright.services import records as use
from mustwright.services.batch.cache import memory_of
from mustwright.services.batch.repository import Ledger
from mustwright.services.batch.start import start_planned
from mustwright.services.notebook import TRIAL, Notebook, NotePage
from mustwright.services.own_protocols import own_protocols
from mustwright.services.repository import Cellar, Record
from mustwright.texts import say

# Measures read off the batches themselves, and what they are.
MEASURES = {
    "days": say("days until two thirds of the sugar are gone"),
    "gravity": say("last gravity read"),
}
SCORE = "score"
# What may differ between arms besides feeds, by the thing that is tried: a kind of yeast brings its
# own pitch along.
ALLOWED = {
    "protocol": frozenset[str](),
    "nutrient": frozenset[str](),
    "yeast": frozenset({"yeast", "pitch"}),
    "pitch": frozenset({"pitch"}),
    "temperature": frozenset({"temperature"}),
    "salt": frozenset({"pH at pitch"}),
}
MOST_DIFFERENCES = 1  # of "other" things


@dataclass(frozen=True)
class KeptTrial:
    """A trial and where it is kept."""

    key: str
    version: int
    trial: TrialRecord


@dataclass(frozen=True)
class TrialParts:
    """The stores a trial needs, together."""

    cellar: Cellar
    ledger: Ledger
    notebook: Notebook


def trials(notebook: Notebook) -> list[KeptTrial]:
    """Every trial, in the order of their keys."""
    return [trial_from(page) for page in notebook.pages(TRIAL)]


def trial(notebook: Notebook, key: str) -> KeptTrial:
    """One trial.

    Raises
    ------
    MissingRecordError
    """
    return trial_from(notebook.page(TRIAL, key))


def start_trial(
    parts: TrialParts,
    name: str,
    thing: str,
    arms: Sequence[TrialArm],
    musts: Sequence[str],
    *,
    vessels: int,
    seed: int,
    now: datetime,
    pitched_at: datetime | None = None,
    protocol: str | None = None,
    expected: str = "",
) -> KeptTrial:
    """Draw the lot and start a batch for each vessel.

    Parameters
    ----------
    arms : sequence of TrialArm
        Each with a protocol (thing "protocol") or a must of its own (any other thing).
    musts : sequence of str
        Short names of kept musts: one, or one for each pair of vessels. Not needed where arms have
        their own.
    protocol : str or None
        For all arms that name none; None takes the one that suits the first must best.
    expected : str
        ``more`` or ``less`` of the second of two arms, where that is said beforehand.

    Raises
    ------
    InputError
        Where arms differ in more than the one thing; nothing is written then.
    MissingRecordError
    """
    paired = len(musts) > 1
    if paired and vessels != 2 * len(musts):
        raise InputError("vessels", say("2 for each of {count} musts", count=len(musts)), vessels)
    made = new_trial(name, thing, tuple(arms), vessels, seed, now, paired, expected)
    sheets, chosen = arms_of(parts.cellar, thing, arms, musts, protocol)
    page = parts.notebook.add_page(TRIAL, made.name, _text(made))
    filled = []
    for vessel in made.vessels:
        record = sheets[vessel.arm - 1][vessel.must - 1 if paired else 0]
        batch = start_planned(
            parts.cellar, parts.ledger, record, f"{made.name} {vessel.code}"[:120],
            chosen[vessel.arm - 1], now=now, pitched_at=pitched_at,
        )  # fmt: skip
        filled.append(replace(vessel, batch=batch.slug))
        # Kept after each vessel: should the next one fail, no batch stands without its trial.
        so_far = replace(made, vessels=(*filled, *made.vessels[len(filled) :]))
        page = parts.notebook.save_page(TRIAL, page.key, _text(so_far), page.version)
    return trial_from(page)


def arms_of(
    cellar: Cellar,
    thing: str,
    arms: Sequence[TrialArm],
    musts: Sequence[str],
    protocol: str | None = None,
) -> tuple[list[list[Record]], list[str]]:
    """Musts and protocol of each arm; parameters as for `start_trial`.

    Raises
    ------
    InputError
        Where arms differ in more than the one thing.
    MissingRecordError
    """
    check_thing(thing)
    sheets = [_sheets(cellar, arm, musts) for arm in arms]
    chosen = _protocols(cellar, arms, sheets, protocol)
    _check_one_thing(cellar, thing, arms, sheets, chosen)
    return sheets, chosen


def own_spread(notebook: Notebook, measure: str) -> VesselSpread | None:
    """How much vessels of one must differ in the trials of this cellar, if they say.

    Parameters
    ----------
    measure : str
        A key of `MEASURES`, or what was scored.
    """
    told = [kept.trial for kept in trials(notebook)]
    return vessel_spread(told, MEASURES.get(measure, measure))


def open_trial(notebook: Notebook, key: str, now: datetime, *, early: bool = False) -> KeptTrial:
    """Show which code held what; early only where that is said, and then written down.

    Raises
    ------
    ConflictError
        Where values are missing and it is not to be opened early.
    MissingRecordError
    """
    kept = trial(notebook, key)
    return _save(notebook, kept, opened(kept.trial, now, early))


def score_trial(
    notebook: Notebook, key: str, values: Mapping[int, float], measure: str = SCORE
) -> KeptTrial:
    """Write values under the codes of a trial.

    Raises
    ------
    InputError
    MissingRecordError
    """
    kept = trial(notebook, key)
    return _save(notebook, kept, scored(kept.trial, values, measure))


def measured(parts: TrialParts, key: str, measure: str, now: datetime) -> dict[int, float]:
    """Values of a measure read off the batches, by code; vessels that do not say are left out.

    Raises
    ------
    InputError
        For a measure that is none.
    """
    if measure not in MEASURES:
        raise InputError("measure", say("one of {measures}", measures=", ".join(MEASURES)), measure)
    found = {}
    for vessel in trial(parts.notebook, key).trial.vessels:
        state = vessel_state(parts.ledger, vessel.batch, now)
        value = seen_days(state) if measure == "days" else state.gravity
        if value is not None:
            found[vessel.code] = float(value)
    return found


def judge_trial(
    parts: TrialParts,
    key: str,
    now: datetime,
    *,
    measure: str = SCORE,
    values: Mapping[int, float] | None = None,
) -> tuple[KeptTrial, TrialAnswer]:
    """Take the values in, open the codes once there is one for each vessel, and answer.

    Parameters
    ----------
    measure : str
        ``score`` for `values` under codes, else read off the batches.

    Raises
    ------
    InputError
        Where a vessel has no value yet; those given are kept.
    """
    given = values or {} if measure == SCORE else measured(parts, key, measure, now)
    label = MEASURES.get(measure, measure)
    kept = score_trial(parts.notebook, key, given, label)
    found = answer(kept.trial)
    return open_trial(parts.notebook, key, now), found


def vessel_state(ledger: Ledger, slug: str, now: datetime) -> Progress:
    """How the batch of a vessel stands."""
    return progress_of(memory_of(ledger).gist(ledger, ledger.batch(slug)), now)


def trial_of_batch(notebook: Notebook, slug: str) -> KeptTrial | None:
    """The trial a batch is a vessel of."""
    for kept in trials(notebook):
        if any(v.batch == slug for v in kept.trial.vessels):
            return kept
    return None


def _sheets(cellar: Cellar, arm: TrialArm, musts: Sequence[str]) -> list[Record]:
    """Musts of an arm: its own, or those of the trial."""
    names = [arm.must] if arm.must else list(musts)
    if not names:
        raise InputError(
            "must", say("needs a saved must for {arm!r}", arm=arm.name), say("nothing")
        )
    return [cellar.record("sheet", name) for name in names]


def _protocols(
    cellar: Cellar, arms: Sequence[TrialArm], sheets: Sequence[Sequence[Record]], common: str | None
) -> list[str]:
    """The protocol of each arm; one for all that name none."""
    first = sheets[0][0]
    best = common or use.plan_text(cellar, first.text, first.name).plan.protocol
    own = own_protocols(cellar)
    return [protocol_called(arm.protocol or best, own).id for arm in arms]


def _check_one_thing(
    cellar: Cellar,
    thing: str,
    arms: Sequence[TrialArm],
    sheets: Sequence[Sequence[Record]],
    chosen: Sequence[str],
) -> None:
    if thing == "protocol" and len(set(chosen)) < len(chosen):
        raise InputError("arms", say("needs another protocol for each arm"), ", ".join(chosen))
    if thing != "protocol" and len(set(chosen)) > 1:
        raise InputError(
            "arms",
            say("needs one protocol for all: {thing} is tried", thing=thing),
            ", ".join(chosen),
        )
    texts = [tuple(record.text for record in held) for held in sheets]
    if thing != "protocol" and len(set(texts)) < len(texts):
        raise InputError("arms", say("needs a must of its own for each arm"), len(set(texts)))
    # Every sheet is planned here, before the first batch is written: none can fail halfway.
    sides = [
        [_side(planned(cellar, record, protocol).ground) for record in held]
        for held, protocol in zip(sheets, chosen, strict=True)
    ]
    for arm, held_sides in zip(arms[1:], sides[1:], strict=True):
        found = {aspect.what for aspect in differing(sides[0][0], held_sides[0])}
        extra = found - ALLOWED.get(thing, frozenset())
        if len(extra) > (MOST_DIFFERENCES if thing == "other" else 0):
            need = say("arms that differ in the {thing} alone", thing=thing)
            raise InputError(
                "arms",
                need,
                say("{arm}: also {extra}", arm=arm.name, extra=", ".join(sorted(extra))),
            )


def planned(cellar: Cellar, record: Record, protocol: str) -> PlanResult:
    """The plan of a vessel's must by a protocol, with the shelf of the cellar."""
    text = use.sheet_with_shelf(record.text, cellar.records("nutrient"))
    return plan(text, protocol, own_protocols(cellar), record.name)


def _side(ground: Ground) -> SheetSide:
    return SheetSide(must_at_pitch(ground), conditions_of(ground))


def _save(notebook: Notebook, kept: KeptTrial, changed: TrialRecord) -> KeptTrial:
    if changed == kept.trial:
        return kept
    return trial_from(notebook.save_page(TRIAL, kept.key, _text(changed), kept.version))


def _text(trial: TrialRecord) -> str:
    return json.dumps(data_of(trial), separators=(",", ":"), allow_nan=False)


def trial_from(page: NotePage) -> KeptTrial:
    return KeptTrial(
        page.key, page.version, record_from(TrialRecord, json.loads(page.content), "trial")
    )
