"""What a finishing step starts from when it is done to a batch: the batch's own numbers, typed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from datetime import tzinfo

from mustwright.batch.assessment import FERMENTS
from mustwright.batch.entries import Reading
from mustwright.batch.recipe import made_of
from mustwright.batch.stability import STERILE, ask_of, day_of, series_judged
from mustwright.batch.too_soon import BottlingFacts, bottling_facts
from mustwright.batch.vessel import VesselContents, steps_done
from mustwright.batch.view import BatchView
from mustwright.bench.fields import StepField
from mustwright.bench.liquid import BY_FIELD, MeadNow, mead_now
from mustwright.must.gravity_text import typed_gravity, typed_step
from mustwright.texts import say

LAWS = ("us", "eu")


@dataclass(frozen=True)
class BatchStart:
    """A batch as the bench meets it.

    Parameters
    ----------
    mead : MeadNow
        Its liquid.
    more : mapping of str to tuple of str
        Fields of steps that are no facts of the liquid: readings, tolerance, nitrogen left.
    bottling : BottlingFacts
        What decides whether bottles may be closed.
    """

    slug: str
    name: str
    held: VesselContents
    mead: MeadNow
    more: Mapping[str, tuple[str, ...]]
    bottling: BottlingFacts

    def fields_for(self, fields: Iterable[StepField]) -> dict[str, str]:
        """The fields of a step that the batch knows, as they would be typed."""
        known = {**self.mead.typed(), **{k: "\n".join(v) for k, v in self.more.items() if v}}
        return {one.name: known[one.filled_by] for one in fields if one.filled_by in known}

    def doubts(self) -> tuple[str, ...]:
        """What the log leaves open, for whoever goes by these numbers."""
        found = list(self.held.doubts)
        if self.held.total_so2_mg_l and self.held.free_so2_mg_l is None:
            found.append(
                say(
                    "Measure free sulfur dioxide before you add more. It was not measured since "
                    "the last addition, so none is counted."
                )
            )
        return tuple(found)


def start_from(view: BatchView, zone: tzinfo) -> BatchStart:
    """A batch's numbers for the bench.

    Parameters
    ----------
    zone : tzinfo
        Where the days of readings are counted.
    """
    held = view.assessed.held
    facts = {f.name for f in fields(MeadNow)} & {f.name for f in fields(VesselContents)}
    profile = view.progress.plan.profile
    mead = MeadNow(
        **{name: getattr(held, name) for name in facts},
        profile=profile if profile in LAWS else "",
        batch=view.record.slug,
    )
    return BatchStart(
        view.record.slug,
        view.record.name,
        held,
        mead,
        _more(view, held, zone),
        bottling_facts(view.progress, view.events, zone),
    )


def _more(view: BatchView, held: VesselContents, zone: tzinfo) -> dict[str, tuple[str, ...]]:
    """Readings at one level, the yeast's tolerance, nitrogen left, warmth since it was dry."""
    state = view.progress
    series = series_judged(state, view.events, zone, held)
    ask = ask_of(state, held, series, zone)
    readings = tuple(
        f"{day_of(p.at, zone)} {typed_gravity(r.gravity)} ± {typed_step(r.error or 0.0, r.gravity)}"
        for p, r in zip(series, ask.readings, strict=True)
    )
    low, high = ask.tolerance_low_pct, ask.tolerance_high_pct
    return {
        "reading": readings,
        "tolerance": (f"{low:g} to {high:g} %",),
        "nitrogen": (f"{ask.nitrogen_mg_l:g} mg/L",),
        "sterile": ("yes",) if held.stabilised in STERILE else (),
        "fermenting": ("yes",) if _ferments(view) else (),
        "warmest": (f"{_warmest(view):g} C",),
        "batch_name": (view.record.name,),
        "batch_contents": (made_of(state.plan),) if made_of(state.plan) else (),
        **_container(view),
    }


def _container(view: BatchView) -> dict[str, tuple[str, ...]]:
    """The bottle that the last carbonation was worked out for, and what it bears as typed."""
    steps = steps_done(view.events, "carbonate")
    asked = steps[-1][1].asked if steps else {}
    return {
        fact: (str(asked[name]),)
        for fact, name in (("container", "bottle"), ("container_limit", "limit"))
        if asked.get(name)
    }


def _ferments(view: BatchView) -> bool:
    """Whether it is still at work, by the one assessment of the batch."""
    return view.assessed.phase in FERMENTS


def _warmest(view: BatchView) -> float:
    """Warmest the mead was read since hardly any sugar was left [°C]."""
    state = view.progress
    dry = next((p.at for p in state.points if p.used >= 0.97), None)
    read = [
        s.what.temperature_c
        for s in view.stands
        if isinstance(s.what, Reading) and not s.removed and s.what.temperature_c is not None
        if dry is not None and dry <= s.at <= state.now
    ]
    return max([*read, state.temperature_c])


def measured_in(
    fields: Iterable[StepField], given: Mapping[str, object], own: Mapping[str, str]
) -> dict[str, float]:
    """Facts of the mead that were typed otherwise than the batch has them.

    Parameters
    ----------
    fields : iterable of StepField
        Fields that were typed by the maker.
    given, own : mapping
        The fields as they were used, and as the batch would have filled them.
    """
    typed: dict[str, str] = {}
    for one in fields:
        text = given.get(one.name)
        if one.filled_by in BY_FIELD and isinstance(text, str) and text != own.get(one.name):
            typed[one.filled_by] = text
    typed.pop("temperature", None)
    found = mead_now(typed)
    return {
        BY_FIELD[name]: value
        for name in typed
        if (value := getattr(found, BY_FIELD[name])) is not None
    }
