"""What a finishing step starts from when it is done to a batch: the batch's own numbers, typed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import tzinfo

from mustwright.batch.entries import Reading
from mustwright.batch.progress import DRY, FINISHING, PLANNED
from mustwright.batch.stability import STERILE, ask_of, day_of, series_of, settled
from mustwright.batch.vessel import VesselContents, vessel
from mustwright.batch.view import BatchView
from mustwright.bench.mead_state import WAYS, MeadNow, mead_now

# Fields that ask for a fact under another name.
TAKES = {
    "bottle": {"so2": "total", "co2": "gas"},
    "carbonate": {"fermentable": "residual_sugar"},
}
# Fields that share the name of a fact and ask for something else: the target of a step.
WANTED = {"sulfite": ("molecular",), "blend": ("volume",)}
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
    """

    slug: str
    name: str
    held: VesselContents
    mead: MeadNow
    more: Mapping[str, tuple[str, ...]]

    def fields_for(self, step: str, names: Iterable[str]) -> dict[str, str]:
        """The fields of a step that the batch knows, as they would be typed.

        Parameters
        ----------
        step : str
            Page or command of the bench.
        names : iterable of str
            The fields it has.
        """
        wanted, facts = set(names), self.mead.typed()
        found = {k: v for k, v in facts.items() if k in wanted and k not in WANTED.get(step, ())}
        for name, fact in TAKES.get(step, {}).items():
            if name in wanted and fact in facts:
                found[name] = facts[fact]
        found |= {k: "\n".join(v) for k, v in self.more.items() if k in wanted and v}
        if step == "carbonate":
            found["temperature"] = "\n".join(self.more["warmest"])
        if step == "bottle":
            found["name"] = self.name
        return found

    def doubts(self) -> tuple[str, ...]:
        """What the log leaves open, for whoever goes by these numbers."""
        found = list(self.held.doubts)
        if self.held.total_so2_mg_l and self.held.free_so2_mg_l is None:
            found.append(
                "Free sulfur dioxide was not measured since the last addition, so none is counted "
                "as there: measure it before you add more."
            )
        return tuple(found)


def start_from(view: BatchView, zone: tzinfo) -> BatchStart:
    """A batch's numbers for the bench.

    Parameters
    ----------
    zone : tzinfo
        Where the days of readings are counted.
    """
    held = vessel(view.progress, view.events)
    facts = {f.name for f in fields(MeadNow)} & {f.name for f in fields(VesselContents)}
    profile = view.progress.plan.profile
    mead = MeadNow(
        **{name: getattr(held, name) for name in facts},
        profile=profile if profile in LAWS else "",
        batch=view.record.slug,
    )
    return BatchStart(view.record.slug, view.record.name, held, mead, _more(view, held, zone))


def _more(view: BatchView, held: VesselContents, zone: tzinfo) -> dict[str, tuple[str, ...]]:
    """Readings at one level, the yeast's tolerance, nitrogen left, warmth since it was dry."""
    state = view.progress
    series = series_of(state, view.events)
    ask = ask_of(state, held, series, zone)
    readings = tuple(
        f"{day_of(p.at, zone)} {r.gravity:.4f} ± {r.error:g}"
        for p, r in zip(series, ask.readings, strict=True)
    )
    low, high = ask.tolerance_low_pct, ask.tolerance_high_pct
    return {
        "reading": readings,
        "tolerance": (f"{low:g} to {high:g} %",),
        "nitrogen": (f"{ask.nitrogen_mg_l:g} mg/L",),
        "sterile": ("yes",) if held.stabilised in STERILE else (),
        "fermenting": ("yes",) if _ferments(view, zone) else (),
        "warmest": (f"{_warmest(view):g} C",),
    }


def _ferments(view: BatchView, zone: tzinfo) -> bool:
    """Whether it is still at work, by its phase and the judgement of its readings."""
    state = view.progress
    if state.phase == PLANNED:
        return False
    judged = settled(state, view.events, zone)
    if judged is not None:
        return judged.found.verdict == "moving" or (
            not judged.is_settled and state.phase not in (DRY, FINISHING)
        )
    return state.phase not in (DRY, FINISHING)


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
    step: str, given: Mapping[str, object], own: Mapping[str, str], names: Sequence[str]
) -> dict[str, float]:
    """Facts of the mead that were typed otherwise than the batch has them.

    Parameters
    ----------
    given, own : mapping
        The fields as they were used, and as the batch would have filled them.
    names : sequence of str
        Fields that were typed by the maker.
    """
    facts = {way.name: name for name, way in WAYS.items()}
    takes = TAKES.get(step, {})
    typed: dict[str, str] = {}
    for field in names:
        name = takes.get(field, field)
        text = given.get(field)
        left_out = field in WANTED.get(step, ()) or name == "temperature" or name not in facts
        if left_out or not isinstance(text, str) or not text.strip() or text == own.get(field):
            continue
        typed[name] = text
    found = mead_now(typed)
    return {
        facts[name]: value for name in typed if (value := getattr(found, facts[name])) is not None
    }
