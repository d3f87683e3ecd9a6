"""What may still go in: jars the rules let into a feed, and what law, label and stock leave."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from mustwright.batch.plan import BatchPlan, JarFacts, Most, PlannedFeed
from mustwright.batch.progress import BUFFERS, Progress
from mustwright.must.acidity.salts import all_salts
from mustwright.nutrition.dosing_problem import Ceiling
from mustwright.nutrition.limits import legal_profiles
from mustwright.nutrition.shelf import Nutrient, generic_nutrients
from mustwright.texts import say

CARBONATES = BUFFERS  # gentlest first


@dataclass(frozen=True)
class Room:
    """What may still go in of one kind of nutrient.

    Parameters
    ----------
    name : str
        The jar on the shelf, or the kind where there is none.
    grams : float
        Over the whole batch, what was given already taken off [g]; inf where nothing limits it.
    words : str
        The ceiling that is met first; empty where there is none.
    """

    name: str
    grams: float
    words: str


def may_go_in(plan: BatchPlan) -> dict[str, str]:
    """What can be written down as given: jars of the shelf, and the carbonates; id and name."""
    known = {id: salt.name for id, salt in all_salts().items() if id in CARBONATES}
    on_shelf = {jar.class_id for jar in plan.jars}
    jars = {jar.id: jar.name for jar in plan.jars}
    return jars | {id: name for id, name in known.items() if id not in on_shelf}


def allowed_jars(
    plan: BatchPlan, used: float, alcohol_pct: float, words: Sequence[str], *, last: bool
) -> list[int]:
    """Jars the protocol's conditions let into a feed at this point, as indices."""
    c = plan.conditions
    no_ammonium = (
        c.ammonium_until_sugar_used is not None and used > c.ammonium_until_sugar_used + 1e-6
    ) or (c.ammonium_until_alcohol_pct is not None and alcohol_pct > c.ammonium_until_alcohol_pct)
    no_salt = last and c.last_feed_without_ammonium_salt
    found = []
    for j, jar in enumerate(plan.jars):
        if not any(jar.nutrient().matches(word) for word in words):
            continue
        if no_ammonium and jar.mg_g.get("ammonium_n", 0.0) > 0:
            continue
        if no_salt and jar.group == "ammonium":
            continue
        found.append(j)
    return found


def ceilings_left(plan: BatchPlan, given_g: Mapping[str, float]) -> tuple[Ceiling, ...]:
    """What law, label and stock still allow after what was given."""
    volume = plan.must.volume_l
    left = []
    for most in plan.most:
        gone = sum(w * given_g.get(j, 0.0) for j, w in most.weights.items()) / volume
        weights = tuple(most.weights.get(jar.id, 0.0) for jar in plan.jars)
        left.append(
            Ceiling(
                most.key,
                most.words,
                weights,
                max(most.most_g_l - gone, 0.0),
                advises=most.advises,
                high=None if most.high_g_l is None else max(most.high_g_l - gone, 0.0),
            )
        )
    return tuple(left)


def broken(
    plan: BatchPlan, given_g: Mapping[str, float], feeds: Sequence[PlannedFeed]
) -> tuple[Most, ...]:
    """Ceilings, advice apart, that what was given and the feeds still open would break."""
    grams = dict(given_g)
    for feed in feeds:
        for dose in feed.doses:
            grams[dose.nutrient] = grams.get(dose.nutrient, 0.0) + dose.grams
    volume = plan.must.volume_l
    return tuple(
        m
        for m in plan.most
        if not m.advises
        and sum(w * grams.get(j, 0.0) for j, w in m.weights.items()) / volume
        > m.most_g_l * (1 + 1e-6) + 1e-9
    )


def room_of_jar(now: Progress, jar: JarFacts) -> Room:
    """What every ceiling still allows of one jar, planned feeds not counted."""
    j = now.plan.jars.index(jar)
    left = [
        (c.most / c.weights[j] * now.plan.must.volume_l, c.words)
        for c in ceilings_left(now.plan, now.given_g)
        if c.weights[j] > 0
    ]
    return Room(jar.name, *min(left, default=(float("inf"), "")))


def room_of_kind(now: Progress, kind: str) -> Room:
    """The same for a kind of nutrient: that of its jar, else by law and the kind's usual label.

    Parameters
    ----------
    kind : str
        Id of a class in ``data/nutrients.toml``.
    """
    jars = [jar for jar in now.plan.jars if jar.class_id == kind]
    if jars:
        return max((room_of_jar(now, jar) for jar in jars), key=lambda room: room.grams)
    nutrient = generic_nutrients()[kind]
    volume = now.plan.must.volume_l
    left = [(most * volume, words) for most, words in _law_leaves(now, nutrient)]
    label = nutrient.label_max_g_l
    if label is not None:
        words = say(
            "{most:g} g/L is taken for the label of {nutrient}: read yours",
            most=label.value,
            nutrient=nutrient.name,
        )
        left.append((max(label.value * volume - now.given_g.get(kind, 0.0), 0.0), words))
    return Room(nutrient.name, *min(left, default=(float("inf"), "")))


def _law_leaves(now: Progress, nutrient: Nutrient) -> list[tuple[float, str]]:
    """Grams per litre of a nutrient without a jar that each limit of law leaves, and its words."""
    profile = legal_profiles()[now.plan.profile]
    volume = now.plan.must.volume_l
    known = generic_nutrients() | {jar.id: jar.nutrient() for jar in now.plan.jars}
    given = [(grams, known[id]) for id, grams in now.given_g.items() if id in known]
    found: list[tuple[float, str]] = []
    for limit in profile.limits:
        fraction = limit.fraction_in(nutrient)
        if fraction > 0:
            gone = sum(grams * limit.fraction_in(what) for grams, what in given)
            words = say(
                "{law} allows {most:g} g/L of {substance} ({source})",
                law=profile.name,
                most=limit.max_g_l,
                substance=limit.name,
                source=limit.source,
            )
            found.append((max(limit.max_g_l - gone / volume, 0.0) / fraction, words))
    return found
