"""What may be varied of a feeding plan: amounts, kinds and moments within law, label, stock, scale.

A point is a vector of real numbers; `FeedSpace.decode` makes feeds of it that keep every bound, so
that a search need not know of any.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mustwright.nutrition.ceilings import ceilings
from mustwright.nutrition.choose import STAGED_ABOVE
from mustwright.nutrition.dosing_problem import Ceiling, Floats
from mustwright.nutrition.feeding_plan import Setting
from mustwright.nutrition.rounding import round_to_scale
from mustwright.nutrition.shelf import Nutrient
from mustwright.nutrition.triggers import THIRD
from mustwright.nutrition.usual_labels import FAR_BEYOND

MOST_FEEDS = 4
MOST_NITROGEN = 1.15  # times what is wanted: more is left over, or feeds something else (assumed)
LEAST_PART = 0.10  # of the nitrogen: a smaller feed is not worth a visit (assumed)
LEAST_KIND = 0.15  # of a feed: a smaller share of a kind is not worth weighing (assumed)
# Of the nitrogen in one feed of a strong must, staged as makers do (assumed): aimed at, and borne.
MOST_PART, MOST_AT_ONCE = 0.5, 0.6
TOGETHER = 0.04  # of the sugar: moments nearer than this are one feed (assumed)
AT_ONSET = 0.03  # of the sugar: earlier than this is at onset


@dataclass(frozen=True)
class TailoredFeed:
    """One feed found by the search.

    Parameters
    ----------
    sugar_used : float
        Fraction of the sugar gone when it falls due; 0 at onset.
    grams : tuple of float
        One a jar of the space [g].
    """

    sugar_used: float
    grams: tuple[float, ...]


class FeedSpace:
    """The feeds that a must, a shelf and a law leave open.

    Parameters
    ----------
    setting : Setting
    to_add_mg_l : float
        Nitrogen that the feeds are to bring, at least 0 [mg N/L].
    words : sequence of str
        For each jar of the setting the word a protocol file can name it by.
    salt_steps : int
        Parts into which the most of a potassium salt is divided; 0 where the salt is not varied.
    """

    def __init__(
        self, setting: Setting, to_add_mg_l: float, words: Sequence[str], salt_steps: int = 0
    ) -> None:
        self.volume_l = setting.must.volume_l.value
        self.least_feeds = 2 if setting.must.gravity.value > STAGED_ABOVE else 1
        self.step_g = setting.shelf.scale_g
        self.to_add_mg_l = to_add_mg_l
        picked = [j for j, jar in enumerate(setting.jars) if words[j] and jar.nitrogen_mg_g > 0]
        self.jars: tuple[Nutrient, ...] = tuple(setting.jars[j] for j in picked)
        self.words = tuple(words[j] for j in picked)
        self.counted = np.array([j.nitrogen_mg_g * j.uptake_weight for j in self.jars])
        self.has_amino = np.array([j.per_gram("amino_n") > 0 for j in self.jars], bool)
        self.bounds = tuple(_bound(one, picked) for one in ceilings(setting))
        self.salt_steps = salt_steps
        self.size = 2 + 2 * MOST_FEEDS + MOST_FEEDS * len(self.jars)

    def start(self) -> Floats:
        """The middle of the first draw: equal parts over the first third of the sugar, no salt."""
        middle = np.zeros(self.size)
        middle[1 + MOST_FEEDS : 1 + 2 * MOST_FEEDS] = np.linspace(-2.0, 2.0, MOST_FEEDS)
        middle[-1] = -2.0  # no salt
        return middle

    def salt_part(self, point: Floats) -> float:
        """The part of the most allowed of a salt that a point stands for, 0 to 1.

        Parameters
        ----------
        point : ndarray
            Of `size` real numbers.

        Returns
        -------
        float
        """
        if not self.salt_steps:
            return 0.0
        level = int(float(_squashed(point[-1:])[0]) * (self.salt_steps + 1))
        return min(level, self.salt_steps) / self.salt_steps

    def decode(self, point: Floats) -> tuple[TailoredFeed, ...]:
        """The feeds that a point stands for; they keep every bound.

        Parameters
        ----------
        point : ndarray
            Of `size` real numbers.

        Returns
        -------
        tuple of TailoredFeed
            In order of their moments; empty feeds are left out. Nothing at all where a strong must
            would get most of it at once.
        """
        if not self.jars or self.to_add_mg_l <= 0:
            return ()
        moments, parts, kinds = self._shapes(point)
        if len(moments) > 1 and self.has_amino.any():
            kinds[-1] = np.where(self.has_amino, kinds[-1], 0.0)  # no ammonium salt last
            kinds[-1] = _shares(kinds[-1] + self.has_amino * 1e-9, 0.0)
        extra = (MOST_NITROGEN - 1) * float(_squashed(point[:1])[0])
        wanted = self.to_add_mg_l * (1 + extra)
        grams_l = wanted * parts[:, None] * kinds / self.counted
        grams_l = self._filled(self._within(grams_l), wanted)
        grams = round_to_scale(grams_l * self.volume_l, self.step_g, self.bounds, self.volume_l)
        feeds = tuple(
            TailoredFeed(moment, tuple(float(g) for g in row))
            for moment, row in zip(moments, grams, strict=True)
            if row.any()
        )
        return feeds if self._in_parts(feeds) else ()

    def _in_parts(self, feeds: Sequence[TailoredFeed]) -> bool:
        """Whether a strong must gets its nitrogen in parts, none of them most of it."""
        if self.least_feeds == 1:
            return True
        brought = [self.nitrogen_mg_l([feed]) for feed in feeds]
        return len(feeds) >= self.least_feeds and max(brought) <= MOST_AT_ONCE * sum(brought)

    def nitrogen_mg_l(self, feeds: Sequence[TailoredFeed]) -> float:
        """What feeds bring, as the maker counts it [mg N/L]."""
        return sum(float(np.array(f.grams) @ self.counted) for f in feeds) / self.volume_l

    def _shapes(self, point: Floats) -> tuple[list[float], Floats, Floats]:
        """Moments in order, the part of each feed, and its kinds."""
        count = MOST_FEEDS
        when = THIRD * _squashed(point[1 + count : 1 + 2 * count])
        parts = _shares(np.exp(point[1 : 1 + count]), LEAST_PART)
        kinds = np.exp(2 * point[1 + 2 * count : -1]).reshape(count, len(self.jars))
        order = [int(i) for i in np.argsort(when) if parts[i] > 0]
        moments: list[float] = []
        part_of: list[float] = []
        kind_of: list[Floats] = []
        for i in order:
            row = _shares(kinds[i], LEAST_KIND)
            if moments and when[i] - moments[-1] < TOGETHER:
                whole = part_of[-1] + parts[i]
                kind_of[-1] = (part_of[-1] * kind_of[-1] + parts[i] * row) / whole
                part_of[-1] = whole
                continue
            moments.append(float(when[i]))
            part_of.append(float(parts[i]))
            kind_of.append(row)
        parts_in_order = np.array(part_of)
        if self.least_feeds > 1 and len(part_of) > 1:
            parts_in_order = _levelled(parts_in_order, MOST_PART)
        rounded = [0.0 if m < AT_ONSET else round(m, 2) for m in moments]
        return [min(m, 0.33) for m in rounded], parts_in_order, np.array(kind_of)

    def _within(self, grams_l: Floats) -> Floats:
        """Less of what a bound limits, by the same part in every feed."""
        for one in self.bounds:
            weights = np.array(one.weights)
            amount = float(grams_l.sum(axis=0) @ weights)
            if amount > one.most:
                grams_l = np.where(weights > 0, grams_l * one.most / amount, grams_l)
        return grams_l

    def _filled(self, grams_l: Floats, wanted: float) -> Floats:
        """What bounds took away, brought by other jars as far as they leave room."""
        for j in np.argsort(-self.counted):
            short = wanted - float((grams_l @ self.counted).sum())
            if short <= 0.05:
                break
            room = min(
                (
                    (one.most - float(grams_l.sum(axis=0) @ np.array(one.weights))) / one.weights[j]
                    for one in self.bounds
                    if one.weights[j] > 0
                ),
                default=np.inf,
            )
            more = min(max(room, 0.0), short / self.counted[j])
            rows = np.ones(len(grams_l))
            if not self.has_amino[j] and len(grams_l) > 1 and self.has_amino.any():
                rows[-1] = 0.0
            grams_l[:, j] += more * rows / rows.sum()
        return grams_l


def _bound(one: Ceiling, picked: Sequence[int]) -> Ceiling:
    """A bound on the jars of the space; advice holds at what is far beyond every label."""
    most = one.most if not one.advises else FAR_BEYOND * (one.high or one.most)
    return Ceiling(one.key, one.words, tuple(one.weights[j] for j in picked), most, one.source)


def _shares(values: Floats, least: float) -> Floats:
    """Parts of one, those below the least left out."""
    parts = values / values.sum()
    kept = np.where(parts >= least, parts, 0.0)
    kept = kept if kept.any() else np.where(parts == parts.max(), parts, 0.0)
    return np.asarray(kept / kept.sum())


def _levelled(parts: Floats, most: float) -> Floats:
    """Parts of one with none above the most; what is cut off goes to the others in proportion."""
    large = parts > most
    if not large.any():
        return parts
    rest = parts[~large].sum()
    return np.asarray(np.where(large, most, parts * (1 - most) / rest))


def _squashed(values: Floats) -> Floats:
    """Real numbers as numbers from 0 to 1."""
    return np.asarray(1 / (1 + np.exp(-np.clip(values, -30, 30))))
