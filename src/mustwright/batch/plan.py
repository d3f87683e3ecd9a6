"""The plan a batch follows: everything of it that following, re-planning and checking need."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from mustwright.batch.falls_due import FallsDue
from mustwright.batch.planned_salt import PlannedSalt, planned_salt
from mustwright.figure import TYPED, Figure
from mustwright.must.course import share_of
from mustwright.nutrition.ceilings import ceilings
from mustwright.nutrition.feed_items import about_teaspoons
from mustwright.nutrition.feeding_plan import FeedingPlan, Setting
from mustwright.nutrition.last_moment import last_moment
from mustwright.nutrition.protocols import Protocol, ProtocolRules
from mustwright.nutrition.shelf import PER_GRAM, Nutrient
from mustwright.texts import kept, redone
from mustwright.texts import listed as listed


@dataclass(frozen=True)
class MustFacts:
    """The must at pitch."""

    volume_l: float
    gravity: float
    brix: float
    sugar_g_l: float
    fermentable_sugar_g_l: float
    potential_alcohol_pct: float
    dry_gravity: float
    temperature_c: float
    ph: float | None = None

    @property
    def fermentable_share(self) -> float:
        """Fermentable share of the extract, 0.5 to 1 [g/g]."""
        return share_of(self.fermentable_sugar_g_l, self.sugar_g_l)


@dataclass(frozen=True)
class YeastFacts:
    """The kind of yeast and how much of it."""

    name: str
    grams: float
    grams_l: float
    nitrogen_class: str
    tolerance_low_pct: float
    tolerance_pct: float
    tolerance_high_pct: float
    temperature_low_c: float
    temperature_high_c: float


@dataclass(frozen=True)
class NitrogenFacts:
    """Nitrogen wanted, brought and planned [mg N/L]."""

    demand_mg_l: float
    must_mg_l: float
    must_low_mg_l: float
    must_high_mg_l: float
    rehydration_mg_l: float
    potassium_mg_l: float


@dataclass(frozen=True)
class JarFacts:
    """A nutrient of the shelf as it was when the plan was made."""

    id: str
    name: str
    class_id: str
    group: str
    mg_g: Mapping[str, float]
    contains: Mapping[str, float]
    price_per_kg: float | None = None
    uptake_weight: float = 1.0
    caution: str = ""
    teaspoon_g: float | None = None

    def nutrient(self) -> Nutrient:
        """The jar the blend programme works with."""
        figures = {
            f"{what}_mg_g": Figure(value, "mg/g", "as kept with the plan", TYPED)
            for what, value in self.mg_g.items()
        }
        return Nutrient(
            self.id,
            self.name,
            self.class_id,
            self.group,
            "ferment",
            figures,
            dict(self.contains),
            price_per_kg=self.price_per_kg,
            uptake_weight=self.uptake_weight,
            caution=self.caution,
            grams_per_teaspoon=self.teaspoon_g,
        )

    def teaspoons(self, grams: float) -> float | None:
        """Level teaspoons of so many grams; None where nobody weighed one."""
        return None if self.teaspoon_g is None else grams / self.teaspoon_g

    @property
    def nitrogen_mg_g(self) -> float:
        """Ammonium and amino nitrogen [mg N/g]."""
        return self.mg_g.get("ammonium_n", 0.0) + self.mg_g.get("amino_n", 0.0)


@dataclass(frozen=True)
class Most:
    """A ceiling of law, label or stock on grams per litre over all feeds of the batch.

    Parameters
    ----------
    most_g_l : float
        [g/L]
    advises : bool
        Whether it only advises, as the usual label of a generic kind does.
    high_g_l : float or None
        Where it advises, the most that labels of the kind allow [g/L].
    """

    key: str
    words: str
    weights: Mapping[str, float]
    most_g_l: float
    advises: bool = False
    high_g_l: float | None = None


@dataclass(frozen=True)
class Dose:
    """A weighed amount from one jar in one planned feed."""

    nutrient: str
    name: str
    grams: float


@dataclass(frozen=True)
class PlannedFeed(FallsDue):
    """One feed of the plan.

    Parameters
    ----------
    key : str
        Stays the same through re-plans.
    trigger : mapping
        As written in a protocol file, under ``when``.
    expected_h, low_h, high_h : float
        Hours after pitch when the plan was made [h].
    sugar_used : float
        Fraction of the sugar expected to be gone by then.
    allowed : tuple of str
        Kinds of nutrient the protocol lets into it.
    nitrogen_mg_l : float
        What it was to bring [mg N/L].
    """

    key: str
    name: str
    trigger: Mapping[str, Any]
    words: str
    expected_h: float
    low_h: float
    high_h: float
    sugar_used: float
    doses: tuple[Dose, ...]
    allowed: tuple[str, ...]
    nitrogen_mg_l: float
    ammonium_share_max: float = 1.0
    notes: tuple[str, ...] = ()
    caution: str = ""
    dropped: str = ""


@dataclass(frozen=True)
class BatchPlan:
    """A plan as a batch keeps it, whole: facts, feeds, ceilings, and the texts it came from.

    Parameters
    ----------
    number : int
        1 for the first, one more with each re-plan.
    most : tuple of Most
        Ceilings, the rehydration nutrient already taken off.
    sheet, protocol_text : str
        TOML the plan was made from.
    salt : PlannedSalt or None
        What the plan foresees against a falling pH.
    """

    number: int
    protocol: str
    protocol_name: str
    must: MustFacts
    yeast: YeastFacts
    nitrogen: NitrogenFacts
    conditions: ProtocolRules
    ammonium_share_max: float
    feeds: tuple[PlannedFeed, ...]
    jars: tuple[JarFacts, ...]
    most: tuple[Most, ...]
    profile: str
    scale_g: float
    sheet: str = ""
    protocol_text: str = ""
    warnings: tuple[str, ...] = field(default=())
    salt: PlannedSalt | None = None

    def feed(self, key: str | None) -> PlannedFeed | None:
        """The feed with this key."""
        return next((one for one in self.feeds if one.key == key), None)

    def spoons(self, nutrient: str, grams: float) -> str:
        """Level teaspoons as they stand beside grams; empty where nobody weighed one."""
        jar = self.jar(nutrient)
        return "" if jar is None else about_teaspoons(jar.teaspoons(grams))

    def jar(self, identity: str) -> JarFacts | None:
        """The jar with this id."""
        return next((jar for jar in self.jars if jar.id == identity), None)

    @property
    def live_feeds(self) -> tuple[PlannedFeed, ...]:
        """Feeds that bring something and were not dropped."""
        return tuple(one for one in self.feeds if one.doses and not one.dropped)

    @property
    def last_moment(self) -> float:
        """Fraction of the sugar after which nothing is fed, 0 to 1 [-]."""
        live = (feed.sugar_used for feed in self.live_feeds)
        return last_moment(self.conditions.nothing_after_sugar_used, live)


_SENTENCE_END = re.compile(r"(?<!\b[zBd])\. ")  # not within "z. B." and "d. h."


def once_each(texts: Iterable[str]) -> str:
    """Several cautions as one text that repeats no sentence.

    Examples
    --------
    >>> once_each(["Wear gloves. Stir first.", "Stir first."])
    'Wear gloves. Stir first.'
    """
    return redone(_once_each, *map(kept, texts))


def _once_each(*texts: str) -> str:
    sentences = (s.strip(" .") for text in texts for s in _SENTENCE_END.split(text))
    return " ".join(f"{s}." for s in dict.fromkeys(sentences) if s)


def batch_plan(
    setting: Setting,
    protocol: Protocol,
    feeding: FeedingPlan,
    *,
    sheet: str,
    protocol_text: str,
    ph: float | None,
    warnings: tuple[str, ...],
) -> BatchPlan:
    """A feeding plan as the first plan of a batch."""
    rules = {rule.name: rule for rule in protocol.feeds}
    feeds = []
    for i, feed in enumerate(feeding.feeds):
        rule = rules.get(feed.name)
        expected = feed.expected_h
        feeds.append(
            PlannedFeed(
                key=f"f{i + 1}",
                name=feed.name,
                trigger={"when": feed.trigger_rule},
                words=feed.trigger,
                expected_h=expected.value,
                low_h=expected.value if expected.low is None else expected.low,
                high_h=expected.value if expected.high is None else expected.high,
                sugar_used=feed.sugar_used,
                doses=tuple(Dose(i.nutrient, i.name, i.grams.value) for i in feed.items),
                allowed=rule.nutrients if rule else ("any",),
                nitrogen_mg_l=feed.nitrogen_mg_l.value,
                ammonium_share_max=rule.ammonium_share_max if rule else 1.0,
                notes=feed.notes,
                caution=once_each(i.caution for i in feed.items),
            )
        )
    return BatchPlan(
        1,
        protocol.id,
        protocol.name,
        _must_facts(setting, ph),
        _yeast_facts(setting),
        _nitrogen_facts(feeding, setting),
        protocol.conditions,
        protocol.ammonium_share_max,
        tuple(feeds),
        tuple(_jar_facts(jar) for jar in setting.jars),
        most_of(setting),
        setting.profile.id,
        setting.shelf.scale_g,
        sheet,
        protocol_text,
        warnings,
        planned_salt(feeding.salt),
    )


def _must_facts(setting: Setting, ph: float | None) -> MustFacts:
    must = setting.must
    return MustFacts(
        must.volume_l.value,
        must.gravity.value,
        must.brix.value,
        must.sugar_g_l.value,
        must.fermentable_sugar_g_l.value,
        must.potential_alcohol_pct.value,
        must.dry_gravity.value,
        setting.temperature_c,
        ph,
    )


def _yeast_facts(setting: Setting) -> YeastFacts:
    strain, pitch = setting.strain, setting.pitch
    tolerance = strain.alcohol_tolerance_pct
    return YeastFacts(
        strain.name,
        pitch.yeast_g.value,
        pitch.yeast_g_l.value,
        strain.nitrogen_class,
        tolerance.value if tolerance.low is None else tolerance.low,
        tolerance.value,
        tolerance.value if tolerance.high is None else tolerance.high,
        strain.temperature_low_c,
        strain.temperature_high_c,
    )


def _nitrogen_facts(feeding: FeedingPlan, setting: Setting) -> NitrogenFacts:
    n = feeding.nitrogen
    credit = n.credit_mg_l
    potassium = next(row for row in feeding.balance if row.nutrient == "potassium")
    brought = potassium.must_mg_l.value + potassium.rehydration_mg_l.value
    return NitrogenFacts(
        setting.demand().value,
        credit.value,
        credit.value if credit.low is None else credit.low,
        credit.value if credit.high is None else credit.high,
        n.rehydration_mg_l.value,
        brought + potassium.plan_mg_l.value,
    )


def _jar_facts(jar: Nutrient) -> JarFacts:
    return JarFacts(
        jar.id,
        jar.name,
        jar.class_id,
        jar.group,
        {what: jar.per_gram(what) for what in PER_GRAM if jar.per_gram(what) > 0},
        dict(jar.contains),
        jar.price_per_kg,
        jar.uptake_weight,
        jar.caution,
        jar.grams_per_teaspoon,
    )


def most_of(setting: Setting) -> tuple[Most, ...]:
    """Every bound of law, label and stock on the feeds of a setting, by the ids of its jars."""
    return tuple(
        Most(
            ceiling.key,
            ceiling.words,
            {
                jar.id: weight
                for jar, weight in zip(setting.jars, ceiling.weights, strict=True)
                if weight > 0
            },
            ceiling.most,
            ceiling.advises,
            ceiling.high,
        )
        for ceiling in ceilings(setting)
    )
