"""Why did it stop: causes ranked by how well each explains what was read."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from mustwright import data
from mustwright.batch.alert import threshold
from mustwright.batch.forecast_record import Foreseen, Releases
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import Progress
from mustwright.must.acidity.claims import ph_floor
from mustwright.must.gravity_text import gravity_step, with_gravities
from mustwright.texts import join, literal, say, say_n, uncapital
from mustwright.unit_system import degrees

WHOLLY = ("nitrogen", "temperature", "alcohol")  # what the fermentation model knows
LEAST, MOST = 0.15, 8.0  # factors of a cause that frees no run, and all of them (assumed)
SHARES = (0.15, 0.2, 0.3, 0.2, 0.15)  # of the runs that stand for each of five quantiles
SHORT_OF_POTASSIUM = 1.3  # factor on pH and potassium if potassium is short (assumed)
UNEXPLAINED = 3.0  # on the instrument where no run explains the readings (assumed)
AGREEING = 1.25  # the same where the last three agree with one another (assumed)
LEAST_HELD_UP = 0.2  # share of runs with sugar left, below which they say nothing of causes
LEAST_FREED = 0.05  # share of those that some cause frees, below which they say nothing (assumed)
BY_RUNS = say("simulated runs that fit the readings, each with one cause removed")
BY_EVIDENCE = say("what was recorded, weighed by fixed rules")
READ = (
    say("No gravity was read since pitch."),
    say("Gravity was read only once since pitch."),
    say("Gravity was read only twice since pitch."),
)


@dataclass(frozen=True)
class Cause:
    """One cause.

    Parameters
    ----------
    cause : str
        Its name in ``data/watch.toml``.
    score : float
        Share of the belief, all causes adding up to 1.
    evidence : tuple of str
        What speaks for it or against it.
    measure, separates : str
        The measurement that would tell, and how to read its result.
    """

    cause: str
    title: str
    score: float
    evidence: tuple[str, ...]
    measure: str
    separates: str


@dataclass(frozen=True)
class Diagnosis:
    """Causes, likeliest first, the measurement that separates the first two, and by what."""

    causes: tuple[Cause, ...]
    measure_first: str
    by: str = BY_EVIDENCE


Evidence = tuple[float, Sequence[str]]
NOT_GIVEN = ("ahead", "skipped", "withdrawn")
ENOUGH = 0.85  # of the nitrogen wanted (assumed)
COOLED_C = 3.0  # under plan from which cold is asked about (assumed)


def diagnose(now: Progress, foreseen: Foreseen | None = None) -> Diagnosis:
    """Rank the causes of a stuck or sluggish ferment.

    Parameters
    ----------
    now : Progress
    foreseen : Foreseen or None
        The forecast bent to the readings, where there is one.

    Notes
    -----
    Each cause starts with a prior (assumed) and is multiplied by a factor from 0.1 to 8: how much
    likelier what was seen is when this is the cause than when it is not. Where runs of the
    fermentation model explain the readings, the factor of nitrogen, temperature and alcohol is
    ``0.15 (8 / 0.15)^s``, `s` the share of those runs that putting this one thing right would have
    kept going (scale assumed), but for alcohol far from the yeast's limit, and a must much cooler
    than planned; too little yeast and pH, which the model knows in part, take it
    where it is above the factor of the evidence. The evidence of pH is the acid model's band for
    now, bent to the pH readings, where it ran. Without such runs, and for potassium and the
    instrument, the evidence alone counts (assumed); readings that no run explains speak for the
    instrument.
    """
    records = data.load("watch")["cause"]
    weights, words = {}, {}
    ph = foreseen.ph if foreseen is not None else None
    for name, record in records.items():
        factor, said = _ph_by_runs(ph) if name == "ph_potassium" and ph else CAUSES[name](now)
        factor, more = _by_runs(name, factor, foreseen, now)
        weights[name] = float(record["prior"]["value"]) * factor
        words[name] = (*more, *said)
    total = sum(weights.values())
    causes = [
        Cause(
            n,
            r["title"],
            weights[n] / total,
            words[n],
            r["measure"],
            with_gravities(r["separates"]),
        )
        for n, r in records.items()
    ]
    causes.sort(key=lambda c: -c.score)
    by_runs = _releases(foreseen) is not None
    tells = _tells(causes[0], causes[1], now)
    return Diagnosis(tuple(causes), tells, BY_RUNS if by_runs else BY_EVIDENCE)


def _tells(first: Cause, second: Cause, now: Progress) -> str:
    """The measurement that separates the two likeliest causes; what it showed, if just made."""
    read = now.ph if first.cause == "ph_potassium" else None
    fresh = timedelta(hours=threshold("stuck", "fresh_h"))
    if read is not None and now.ph_at is not None and now.now - now.ph_at <= fresh:
        return say("pH {ph:.2f} was read. {separates}", ph=read, separates=first.separates)
    return say(
        "{measure}: it tells '{one}' from '{other}'. {separates}",
        measure=first.measure,
        one=uncapital(first.title),
        other=uncapital(second.title),
        separates=first.separates,
    )


def _releases(foreseen: Foreseen | None) -> Releases | None:
    """What would have freed the runs, where they explain the readings and were held up.

    Where no cause frees any of them they stopped for reasons the model does not have: no evidence.
    """
    if foreseen is None or not foreseen.explained or foreseen.releases is None:
        return None
    found = foreseen.releases
    frees = max(found.share.values(), default=0.0) >= LEAST_FREED
    return found if found.held_up >= LEAST_HELD_UP and frees else None


def _by_runs(
    name: str, factor: float, foreseen: Foreseen | None, now: Progress
) -> tuple[float, tuple[str, ...]]:
    """The factor of a cause with what the runs say, and that in words."""
    if name == "instrument" and foreseen is not None and not foreseen.explained:
        agree = factor < 1.0  # readings that agree with one another speak for the instrument
        return min(factor * (AGREEING if agree else UNEXPLAINED), MOST), (foreseen.message,)
    found = _releases(foreseen)
    share = found.share.get(name) if found else None
    if share is None or foreseen is None or (name == "alcohol" and factor <= LEAST):
        return factor, ()
    told = LEAST * (MOST / LEAST) ** share
    said = say(
        "{share:.0%} of the runs that fit the readings go on once this cause is removed.",
        share=share,
    )
    wholly = name in WHOLLY and not (name == "temperature" and _is_cooled(now))
    return (told if wholly else max(told, factor)), (said,)


def _is_cooled(now: Progress) -> bool:
    """Whether it is much cooler than planned; what a sudden fall does, the model does not know."""
    return now.temperature_read and now.temperature_c < now.plan.must.temperature_c - COOLED_C


def _nitrogen(now: Progress) -> Evidence:
    n = now.plan.nitrogen
    early = sum(f.ammonium_mg_l + f.amino_mg_l for f in now.fed if f.used < 0.5)
    held = n.must_mg_l + n.rehydration_mg_l + early
    share = held / max(n.demand_mg_l, 1.0)
    said = [
        say(
            "{held:.0f} of {needed:.0f} mg N/L needed was there in time.",
            held=held,
            needed=n.demand_mg_l,
        )
    ]
    steep = 3.0 if share < ENOUGH else 6.0  # what was there in time clears it sooner (assumed)
    factor = min(max(math.exp(steep * (ENOUGH - share)), 0.15), 8.0)
    missed = [literal(s.feed.name) for s in now.feeds if s.state in NOT_GIVEN and s.feed.doses]
    if missed:
        said.append(say("Not given: {missed}.", missed=join(", ", missed)))
    return factor, said


def _temperature(now: Progress) -> Evidence:
    yeast = now.plan.yeast
    t = now.temperature_c
    here, low, high = (
        degrees(value, now.plan.sheet)
        for value in (t, yeast.temperature_low_c, yeast.temperature_high_c)
    )
    if not now.temperature_read:
        return 0.8, [say("The must temperature was not read.")]
    if t > yeast.temperature_high_c:
        said = say("{here} is above the {high} this yeast likes.", here=here, high=high)
        return min(2.0 + (t - yeast.temperature_high_c), 8.0), [said]
    if t < yeast.temperature_low_c + 1:
        said = say("{here} is at or under the {low} this yeast works from.", here=here, low=low)
        return min(2.0 + (yeast.temperature_low_c + 1 - t), 8.0), [said]
    if _is_cooled(now):
        wanted = degrees(now.plan.must.temperature_c, now.plan.sheet)
        said = say(
            "{here} is inside the yeast's range, but {wanted} was planned: "
            "cooling can stop a ferment.",
            here=here,
            wanted=wanted,
        )
        return 1.0, [said]
    return 0.3, [say("{here} is inside the yeast's range.", here=here)]


def _alcohol(now: Progress) -> Evidence:
    yeast = now.plan.yeast
    short = yeast.tolerance_pct - now.alcohol_pct
    said = [
        say(
            "About {alcohol:.1f} % vol; this yeast's limit is about {limit:g} %.",
            alcohol=now.alcohol_pct,
            limit=yeast.tolerance_pct,
        )
    ]
    width = max((yeast.tolerance_high_pct - yeast.tolerance_low_pct) / 2, 1.0)
    return min(max(6.0 * math.exp(-max(short, 0.0) / width), 0.1), 6.0), said


def _too_little_yeast(now: Progress) -> Evidence:
    rate = now.plan.yeast.grams_l
    said = [say("{rate:.2f} g/L of dry yeast was planned.", rate=rate)]
    factor = 3.0 if rate < 0.1 else 1.5 if rate < 0.18 else 0.5
    if now.onset_h is None or now.onset_h > 48:
        factor *= 2.5
        said.append(say("It was slow from the first day."))
    else:
        factor *= 0.5
        said.append(say("It was working {hours:.0f} h after pitch.", hours=now.onset_h))
    return min(max(factor, 0.1), 8.0), said


def _ph_potassium(now: Progress) -> Evidence:
    potassium = now.plan.nitrogen.potassium_mg_l
    said, factor = [], 1.0
    if now.ph is None or now.ph_at is None:
        said.append(say("No pH was read."))
    else:
        said.append(say("pH {ph:.2f} was read.", ph=now.ph))
        factor = _by_ph(now.ph)
    if potassium < 300:
        factor *= SHORT_OF_POTASSIUM
        said.append(say("Only about {potassium:.0f} mg/L potassium.", potassium=potassium))
    return min(factor, 8.0), said


def _by_ph(ph: float) -> float:
    """How much likelier a stop is at a pH this low than for another reason (assumed)."""
    return 6.0 if ph < 3.0 else 3.5 if ph < ph_floor() else 1.0 if ph < 3.4 else 0.25


def _ph_by_runs(ph: PhForeseen) -> Evidence:
    """The same over the runs that fit the pH readings, with the potassium each has for its acid."""
    seen = (ph.now.p05, ph.now.p25, ph.now.p50, ph.now.p75, ph.now.p95)
    factor = sum(w * _by_ph(v) for w, v in zip(SHARES, seen, strict=True) if v is not None)
    if ph.read_ph is not None and ph.read_ph >= threshold("ph_low", "comfort"):
        factor = min(factor, _by_ph(ph.read_ph))
    factor *= 1 + (SHORT_OF_POTASSIUM - 1) * ph.potassium_short
    count = ph.readings + ph.start_measured
    by = (
        say_n("by {count} pH reading", "by {count} pH readings", count)
        if ph.is_read
        else say("by the recipe alone")
    )
    said = [
        say(
            "pH stands at {low:.1f} to {high:.1f} {by}; the lowest so far was "
            "{lowest:.1f} to {lowest_high:.1f}.",
            low=ph.now.p05,
            high=ph.now.p95,
            by=by,
            lowest=ph.lowest_so_far.p05,
            lowest_high=ph.lowest_so_far.p95,
        )
    ]
    if ph.potassium_short >= 0.5:
        said.append(
            say(
                "{count:.0f} of 100 runs hold less potassium for their acid than "
                "ferments that kept going (Kudo1998, ratio from memory).",
                count=100 * ph.potassium_short,
            )
        )
    return min(max(factor, 0.1), MOST), said


def _instrument(now: Progress) -> Evidence:
    after = now.points.past_hour(0.0)
    if len(after) < 3:
        return 2.0, [READ[len(after)]]
    last = after[-3:]
    if last[0].gravity > last[1].gravity > last[2].gravity:
        return 0.4, [say("The last three readings fall one after the other.")]
    spread = max(p.gravity for p in last) - min(p.gravity for p in last)
    if spread <= 2 * last[-1].gravity_sd:
        return 0.4, [say("The last three readings agree within the instrument's error.")]
    return 1.5, [
        say(
            "The last three readings differ by {step}.",
            step=gravity_step(spread, last[-1].gravity),
        )
    ]


CAUSES: dict[str, Callable[[Progress], Evidence]] = {
    "nitrogen": _nitrogen,
    "temperature": _temperature,
    "alcohol": _alcohol,
    "too_little_yeast": _too_little_yeast,
    "ph_potassium": _ph_potassium,
    "instrument": _instrument,
}
