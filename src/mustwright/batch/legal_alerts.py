"""Did more go in than law, labels or shelf allow: sheet, feeds, restart, finishing together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from mustwright.batch.alert import Finding
from mustwright.batch.finishing_record import StepDone
from mustwright.batch.log import Standing
from mustwright.batch.plan import Most
from mustwright.batch.progress import Progress
from mustwright.batch.vessel import VesselContents, steps_done, vessel
from mustwright.finishing.law import FinishingLaw, FinishingLimit, finishing_laws
from mustwright.nutrition.limits import legal_profiles
from mustwright.nutrition.shelf import Nutrient, generic_nutrients
from mustwright.planning.plan_text import in_sentence
from mustwright.texts import say

SEVERITY = 100  # above everything else
LABEL_SEVERITY, STOCK_SEVERITY = 96, 92
LAW, FED, LABEL, STOCK = "over_limit", "over_limit_fed", "over_label", "over_stock"
BEYOND = (LAW, FED, LABEL, STOCK)  # rules that name what went beyond
ROUNDING = 1 + 1e-6
# What went in by its name in the log, and the limits that count it, per litre of the mead.
BY_SUBSTANCE = (
    ("tannin", ("tannin",), say("tannin added")),
    ("citric_acid", ("citric_added", "citric_total"), say("citric acid added")),
    ("calcium_carbonate", ("calcium_carbonate",), say("calcium carbonate added")),
)
CHECK = say("Is the amount in the log what really went in? Test what the mead holds.")
DO = say(
    "Do not sell or serve it as it is. If the log is wrong, correct it. If it is right, bring it "
    "under the limit only in lawful ways, such as blending with mead that has less, or hold it "
    "back. Ask the authority where you live before you do anything."
)
CHECK_FED = say("Are the amounts in the log what really went in?")
DO_LABEL = say(
    "Give no more of it. If the log is wrong, correct it. If it is right, some stays in the mead "
    "and may be tasted: read what the label says about too much."
)
STOP_LABEL = say("The corrected log shows no more than the label allows.")
DO_STOCK = say("Correct the amount, or the shelf: one of the two is wrong.")
STOP_STOCK = say("Log and shelf agree.")
LEAST_G_L, LEAST_G = 1e-6, 1e-3
STOP = say("A test, or the corrected log, shows less than the limit.")


def over_limit(now: Progress, stands: Sequence[Standing]) -> tuple[Finding, ...]:
    """Everything in the vessel that goes beyond law, label or stock, worst first.

    Parameters
    ----------
    stands : sequence of Standing
        Events and finishing steps that count.

    Notes
    -----
    Goes by what is in the vessel at the moment of `now`, not by one step: two doses that are each
    allowed may pass a limit together, and a blend may bring it under again. The rehydration
    nutrient of the sheet, the feeds and what a restart took count against the plan's law, its
    labels and its shelf; what finishing put in against the laws of the plan and of the steps.
    """
    found = [*over_fed(now)]
    if any(isinstance(s.what, StepDone) for s in stands) or _carbonate_fed(now):
        found += _over_finished(now, stands)
    return tuple(f for _, f in sorted(found, key=lambda row: (-row[1].severity, -row[0])))


def _over_finished(now: Progress, stands: Sequence[Standing]) -> list[tuple[float, Finding]]:
    held = vessel(now, stands)
    laws = finishing_laws()
    chosen = [now.plan.profile, *(d.asked.get("profile", "") for _, d in steps_done(stands))]
    return [
        (amount / most, _finding(law, limit, words, amount))
        for law in (laws[name] for name in dict.fromkeys(chosen) if name in laws)
        for limit, words, amount in _held(held, law, now.given_g)
        for most in [limit.high or 0.0]
        if amount > most * ROUNDING
    ]


def _carbonate_fed(now: Progress) -> bool:
    return any(now.given_g.get(substance, 0.0) > 0 for substance, _, _ in BY_SUBSTANCE)


def over_fed(now: Progress) -> Iterator[tuple[float, Finding]]:
    """What feeds and restart put in beyond law, labels and shelf, with how many times over.

    A nutrient that is on no jar of the plan counts by the record of its kind.
    """
    plan, volume = now.plan, now.plan.must.volume_l
    kinds = generic_nutrients() | {jar.id: jar.nutrient() for jar in plan.jars}
    given = [(grams, kinds[name]) for name, grams in now.given_g.items() if name in kinds]
    kept = {most.key: most for most in plan.most}
    profile = legal_profiles().get(plan.profile)
    for limit in profile.limits if profile is not None else ():
        most = kept.get(f"limit:{limit.substance}")
        waking = 0.0 if most is None else max(limit.max_g_l - most.most_g_l, 0.0)
        amount = waking + sum(g * limit.fraction_in(what) for g, what in given) / volume
        fed = amount > waking
        if fed and amount > limit.max_g_l * ROUNDING + LEAST_G_L:
            assert profile is not None
            yield (
                amount / max(limit.max_g_l, LEAST_G_L),
                _fed_finding(
                    FED,
                    say("More {substance} than the law allows", substance=limit.name),
                    say(
                        "The log says {amount:.3g} g/L of {substance} went in, with the "
                        "rehydration nutrient; {law} allows {most:.3g} g/L.",
                        amount=amount,
                        substance=limit.name,
                        law=profile.name,
                        most=limit.max_g_l,
                    ),
                    say(
                        "{substance} {most:.3g} g/L ({source}: {statement})",
                        substance=limit.name,
                        most=limit.max_g_l,
                        source=limit.source,
                        statement=limit.statement,
                    ),
                ),
            )
    for grams, what in given:
        planned = sum(d.grams for feed in plan.feeds for d in feed.doses if d.nutrient == what.id)
        yield from _over_jar(grams, what, kept, volume, planned)


def _over_jar(
    grams: float, what: Nutrient, kept: Mapping[str, Most], volume_l: float, planned_g: float
) -> Iterator[tuple[float, Finding]]:
    """What one nutrient went beyond of its label and of the shelf.

    A label that only advises was gone beyond by the plan where it had to be, which said so: there
    only what goes beyond the plan too is a finding.
    """
    label, stock = kept.get(f"label:{what.id}"), kept.get(f"stock:{what.id}")
    most, words = (label.most_g_l, label.words) if label else (None, "")
    if label is not None and label.advises and planned_g / volume_l > label.most_g_l:
        most, words = (
            planned_g / volume_l,
            say("{label}; the plan gives {planned:g} g in all", label=words, planned=planned_g),
        )
    if most is None and what.label_max_g_l is not None:
        most = what.label_max_g_l.value
        words = say(
            "the usual label of {nutrient} allows {most:g} g/L ({source})",
            nutrient=what.name,
            most=most,
            source=what.label_max_g_l.source,
        )
    if most is not None and grams / volume_l > most * ROUNDING + LEAST_G_L:
        yield (
            grams / volume_l / most,
            _fed_finding(
                LABEL,
                say("More {nutrient} than its label allows", nutrient=in_sentence(what.name)),
                say(
                    "The log says {grams:g} g went in, {g_l:.2f} g/L; {label}.",
                    grams=grams,
                    g_l=grams / volume_l,
                    label=words,
                ),
                words,
            ),
        )
    if stock is not None and stock.advises and grams <= planned_g * ROUNDING:
        stock = None  # followed as its author wrote it: the plan said that more is to be got
    if stock is not None and grams > stock.most_g_l * volume_l * ROUNDING + LEAST_G:
        yield (
            grams / (stock.most_g_l * volume_l + LEAST_G),
            _fed_finding(
                STOCK,
                say("More {nutrient} than the shelf held", nutrient=in_sentence(what.name)),
                say(
                    "The log says {grams:g} g went in; {shelf} when this was planned.",
                    grams=grams,
                    shelf=stock.words,
                ),
                stock.words,
            ),
        )


def _fed_finding(rule: str, title: str, evidence: str, line: str) -> Finding:
    severity = {FED: SEVERITY, LABEL: LABEL_SEVERITY, STOCK: STOCK_SEVERITY}[rule]
    do, stop = {FED: (DO, STOP), LABEL: (DO_LABEL, STOP_LABEL), STOCK: (DO_STOCK, STOP_STOCK)}[rule]
    return Finding(rule, title, severity, 1.0, True, evidence, CHECK_FED, do, stop, (line,))


def _held(
    held: VesselContents, law: FinishingLaw, given_g: Mapping[str, float]
) -> Iterator[tuple[FinishingLimit, str, float]]:
    """Limits of a law with what there is of it in the mead [g/L]."""
    so2, sorbic = law.highest("total_so2"), law.highest("sorbic_acid")
    if so2 is not None and held.total_so2_mg_l is not None:
        yield so2, say("total sulfur dioxide"), held.total_so2_mg_l / 1000
    if sorbic is not None and held.sorbic_acid_mg_l is not None:
        yield sorbic, say("sorbic acid"), held.sorbic_acid_mg_l / 1000
    for substance, names, words in BY_SUBSTANCE:
        limit = law.highest(*names)
        grams = held.put_in_g.get(substance, 0.0) + given_g.get(substance, 0.0)
        if limit is not None and grams > 0 and held.volume_l > 0:
            yield limit, words, grams / held.volume_l


def _finding(law: FinishingLaw, limit: FinishingLimit, words: str, amount: float) -> Finding:
    factor = 1000 if limit.unit == "mg/L" else 1
    most, now = (limit.high or 0.0) * factor, amount * factor
    shown = say("{now:.0f}", now=now) if factor == 1000 else say("{now:.2f}", now=now)
    return Finding(
        LAW,
        say("More {substance} than the law allows", substance=words),
        SEVERITY,
        1.0,
        True,
        say(
            "The log says it holds {amount} {unit} of {substance}; {law} allows {most:g}.",
            amount=shown,
            unit=limit.unit,
            substance=words,
            law=law.name,
            most=most,
        ),
        CHECK,
        DO,
        STOP,
        (
            say(
                "{substance} {most:g} {unit} ({source}: {statement})",
                substance=limit.substance,
                most=most,
                unit=limit.unit,
                source=limit.source,
                statement=limit.statement,
            ),
        ),
    )
