"""What is in the vessel now: the plan's must, changed by everything its log says since."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from mustwright.batch.corrected_readings import Point, must_course
from mustwright.batch.entries import Event
from mustwright.batch.fermented_liquid import fermented, sugar_gone
from mustwright.batch.finishing_record import HELD, Added, StepDone
from mustwright.batch.log import Standing
from mustwright.batch.progress import Progress
from mustwright.batch.series import Series
from mustwright.batch.vessel_text import CARRIED_ON, LAST_READING, NAMES, STEPS
from mustwright.errors import InputError
from mustwright.finishing.liquid import Liquid, mead
from mustwright.finishing.step import finishing_data
from mustwright.must.alcohol import ethanol_pct_vol_from_g_l
from mustwright.must.gravity_text import gravity_text
from mustwright.texts import Text, kept, say
from mustwright.unit_system import short_volume

KEEPS_PH = ("sulfite", "sorbate", "stable", "rack", "tannin", "carbonate", "bottle", "drawn")
NEARLY_MG_L = 0.005
SEEN_SDS = 2.0
# Facts in mg/L or g/L and the grams they stand for.
PER_LITRE = {
    "total_so2_mg_l": ("total_so2", 1000.0),
    "sorbic_acid_mg_l": ("sorbic_acid", 1000.0),
    "potassium_mg_l": ("potassium", 1000.0),
    "calcium_mg_l": ("calcium", 1000.0),
    "residual_sugar_g_l": ("sugar", 1.0),
    "acidity_g_l": ("acidity", 1.0),
}
PLAIN = ("free_so2_mg_l", "molecular_so2_mg_l", "ph", "co2_g_l", "original_gravity")
WITHOUT_AMOUNT = {"sulfited": "total_so2", "sorbated": "sorbic_acid"}
BASE_NEEDED = ("acidity",)  # additions count only on top of what was measured


@dataclass(frozen=True)
class VesselContents:
    """A batch's liquid; what was neither measured nor follows from the log is None.

    Parameters
    ----------
    volume_l : float
        [L].
    gravity, original_gravity : float or None
        Apparent, now and at pitch [SG 20/20].
    alcohol_pct : float
        [% vol].
    ph, temperature_c : float or None
    acidity_g_l, residual_sugar_g_l, co2_g_l : float or None
        [g/L].
    free_so2_mg_l, total_so2_mg_l, molecular_so2_mg_l, sorbic_acid_mg_l : float or None
        [mg/L].
    potassium_mg_l, calcium_mg_l : float or None
        What additions brought [mg/L].
    stabilised : str
        How yeast was stopped; empty if nobody said.
    how : mapping of str to str
        Where a fact comes from, by its name.
    put_in_g : mapping of str to float
        What is still in it of what finishing steps put in, by substance [g].
    added : tuple of (datetime, Added)
        Everything that finishing steps put in.
    doubts : tuple of str
        What the log leaves open.
    """

    volume_l: float
    gravity: float | None
    alcohol_pct: float
    original_gravity: float | None
    ph: float | None = None
    temperature_c: float | None = None
    acidity_g_l: float | None = None
    residual_sugar_g_l: float | None = None
    free_so2_mg_l: float | None = None
    total_so2_mg_l: float | None = None
    molecular_so2_mg_l: float | None = None
    sorbic_acid_mg_l: float | None = None
    potassium_mg_l: float | None = None
    calcium_mg_l: float | None = None
    co2_g_l: float | None = None
    stabilised: str = ""
    how: dict[str, str] = field(default_factory=dict)
    put_in_g: dict[str, float] = field(default_factory=dict)
    added: tuple[tuple[datetime, Added], ...] = ()
    doubts: tuple[str, ...] = ()


def vessel(now: Progress, stands: Sequence[Standing]) -> VesselContents:
    """What is in the vessel at the moment of `now`.

    Parameters
    ----------
    stands : sequence of Standing
        Events and finishing steps of the log, in any order; others are ignored.

    Notes
    -----
    One pass through readings, events and finishing steps. Until something is mixed in, alcohol is
    the balance between original gravity and reading. From then on it is carried by the balance of
    masses (contraction included), and rises again where a reading lies two standard errors under
    what it should be: 0.47 g of ethanol and a gram less of extract for each gram of sugar.
    """
    fold, points, read = _Fold(now), now.points.and_then(now.later), 0
    live = (s for s in stands if not s.removed and s.at <= now.now)
    lines = (s for s in live if isinstance(s.what, Event | StepDone))
    for stand in sorted(lines, key=lambda s: (s.at, s.entry.seq)):
        # A reading at the same moment is of what was there before.
        until = points.until(stand.at)
        fold.read_all(points[read:until])
        read = until
        if isinstance(stand.what, StepDone):
            fold.step(stand.what, stand.at)
        else:
            fold.event(stand.what, stand.at)
    fold.read_all(points[read:])
    return fold.vessel(now)


class _Fold:
    """The vessel while its log is gone through."""

    def __init__(self, now: Progress) -> None:
        must = now.plan.must
        self.plan_must = must
        self.volume = must.volume_l
        self.gravity: float = must.gravity
        self.level: float = must.gravity  # the gravity from which falls are counted
        self._alcohol = 0.0
        self.point: Point | None = None
        self.carried = False
        self.is_read = False
        self.grams: dict[str, float | None] = dict.fromkeys(HELD)
        self.facts: dict[str, float | None] = dict.fromkeys(PLAIN)
        self.facts["original_gravity"] = now.original_gravity
        self.said: dict[str, float] = {}
        self.ph_at: datetime | None = None
        self.stabilised = ""
        self.sheet = now.plan.sheet
        by_plan = say("{litres} by the plan", litres=short_volume(must.volume_l, self.sheet))
        self.how: dict[str, Text] = {"volume_l": by_plan}
        self.put_in: dict[str, float] = {}
        self.added: list[tuple[datetime, Added]] = []
        self.doubts: list[str] = []
        fed = [(now.plan.jar(n), grams) for n, grams in now.given_g.items()]
        potassium = sum(jar.mg_g.get("potassium", 0.0) * g / 1000 for jar, g in fed if jar)
        self.grams["potassium"] = potassium or None

    @property
    def alcohol(self) -> float:
        """Carried along [% vol]; by the balance to the last reading before anything went in."""
        if self.carried or self.point is None:
            return self._alcohol
        self.how["alcohol_pct"] = say("the balance from the gravity at pitch to the last reading")
        course = must_course(self.plan_must, self.point.original_gravity)
        return float(course.alcohol_at(self.point.used))

    def carry(self, alcohol: float) -> None:
        """From here on alcohol is carried along, whatever the readings say."""
        self._alcohol, self.carried = alcohol, True

    # Readings ---------------------------------------------------------------------------------

    def read_all(self, points: Series) -> None:
        """Readings one after the other; while nothing is carried along, the last one is enough."""
        counts = self.carried or self.grams["sugar"] is not None
        for point in points if counts else points[-1:]:
            self.read(point)

    def read(self, point: Point) -> None:
        self.is_read = True
        fall = self.level - point.gravity
        is_fall = fall > SEEN_SDS * point.gravity_sd
        self.point = point
        if is_fall and (self.carried or self.grams["sugar"] is not None):
            self._ferment(point.gravity)
        self.gravity = point.gravity
        if is_fall or not self.carried or fall < -SEEN_SDS * point.gravity_sd:
            self.level = point.gravity
        self.how["gravity"] = LAST_READING

    def _ferment(self, gravity: float) -> None:
        """Sugar that went between the level and a reading, and the alcohol it made."""
        try:
            before = mead(1.0, self.level, self.alcohol)
            used = sugar_gone(before, gravity)
        except InputError:
            self.doubts.append(
                say(
                    "A reading of {gravity} does not fit what went in before it.",
                    gravity=gravity_text(gravity),
                )
            )
            return
        after = fermented(before, used)
        if self.carried:
            self.carry(after.alcohol_pct)
            self.how["alcohol_pct"] = CARRIED_ON
        if self.grams["sugar"] is not None:
            self.grams["sugar"] = max(self.grams["sugar"] - used * self.volume, 0.0)

    # Events -----------------------------------------------------------------------------------

    def event(self, what: Event, at: datetime) -> None:
        if what.what in WITHOUT_AMOUNT:
            self.grams[WITHOUT_AMOUNT[what.what]] = None
            self.facts |= {"free_so2_mg_l": None, "molecular_so2_mg_l": None}
            self.doubts.append(
                say(
                    "On {at:%Y-%m-%d} {what} went in without an amount: measure, or write it "
                    "down as a step.",
                    at=at,
                    what=NAMES[what.what],
                )
            )
        if what.what == "ph_adjusted":
            self._forget_ph(at)
        if what.litres is None:
            return
        if what.what == "sampled":
            self._lose(what.litres, say("drawn as a sample"))
        elif what.what == "water_in" and what.litres > self.volume and self.carried:
            self._pour(mead(what.litres - self.volume, 1.0, 0.0))
        elif what.litres < self.volume:
            self._lose(self.volume - what.litres, NAMES.get(what.what, say("left behind")))
        else:
            self.volume = what.litres
        if what.what != "sampled":
            litres = short_volume(what.litres, self.sheet)
            self.how["volume_l"] = say(
                "{litres} as written down on {at:%Y-%m-%d}", litres=litres, at=at
            )

    # Finishing steps --------------------------------------------------------------------------

    def step(self, what: StepDone, at: datetime) -> None:
        self._measured(what, at)
        if what.lost_l > 0:
            self.doubts += what.left_over(at)
            self._lose(what.lost_l, what.title.lower())
        start = self.volume
        for one in what.added:
            self._add(one, at)
        if what.added:
            self.facts["free_so2_mg_l"] = None
            if what.step not in KEEPS_PH or what.mixes:
                self._forget_ph(at)
        if self.volume > start + 1e-9:
            self.facts["molecular_so2_mg_l"] = None
        self._after(what, at)
        self.stabilised = what.words.get("stabilised", self.stabilised)
        if what.step == "sorbate" and what.added:
            self._sorbated()

    def _measured(self, what: StepDone, at: datetime) -> None:
        for name, value in what.measured.items():
            self._set(name, value, at)
            self.how[name] = say("typed on {at:%Y-%m-%d}", at=at)

    def _after(self, what: StepDone, at: datetime) -> None:
        for name, value in what.after.items():
            self._set(name, value, at)
            self.how[name] = say(
                "as worked out for {step} on {at:%Y-%m-%d}", step=STEPS[what.step], at=at
            )

    def _set(self, name: str, value: float, at: datetime) -> None:
        if name in PER_LITRE:
            held, scale = PER_LITRE[name]
            self.grams[held] = value * self.volume / scale
        elif name == "volume_l":
            self.volume = value
        elif name == "gravity":
            self.gravity = self.level = value
        elif name == "alcohol_pct":
            self.carry(value)
        elif name in PLAIN:
            self.facts[name] = value
            if name == "ph":
                self.ph_at = at
        else:
            self.said[name] = value

    def _lose(self, litres: float, why: str) -> None:
        """What leaves takes its share of everything with it."""
        gone = min(litres, self.volume)
        if self.volume > 0:
            share = 1 - gone / self.volume
            self.grams = {k: None if v is None else v * share for k, v in self.grams.items()}
            self.put_in = {name: grams * share for name, grams in self.put_in.items()}
        self.volume -= gone
        self.how["volume_l"] += say(
            ", {litres} less ({why})", litres=short_volume(gone, self.sheet), why=why
        )

    def _add(self, one: Added, at: datetime) -> None:
        self.added.append((at, one))
        self.put_in[one.substance] = self.put_in.get(one.substance, 0.0) + one.grams
        if one.liquid is not None:
            poured = one.liquid
            self._pour(Liquid(poured.mass_g, poured.extract_g, poured.ethanol_g))
            self.how["volume_l"] += say(", {name} in", name=kept(one.name).lower())
        for name, grams in one.brings_g.items():
            if name == "ethanol":
                rise = ethanol_pct_vol_from_g_l(grams / max(self.volume, 1e-9))
                self.carry(self.alcohol + float(rise))
            elif self._counts(name, grams):
                self.grams[name] = max((self.grams[name] or 0.0) + grams, 0.0)

    def _counts(self, name: str, grams: float) -> bool:
        """Whether an addition alone says what there is now, if nobody said what there was before.

        A trace of sugar added to an unknown remainder must not pass for a dry mead.
        """
        if self.grams[name] is not None:
            return True
        if name == "sugar":
            return grams > float(finishing_data()["stability"]["dry_g_l"]) * self.volume
        return name not in BASE_NEEDED and grams > 0

    def _pour(self, liquid: Liquid) -> None:
        """Mixed in by mass."""
        try:
            if self.volume > 1e-6:
                liquid = mead(self.volume, self.gravity, self.alcohol) + liquid
            volume, alcohol, gravity = liquid.volume_l, liquid.alcohol_pct, liquid.gravity
        except (InputError, ZeroDivisionError):
            self.doubts.append(
                say("What went in cannot be mixed with what the log says was there.")
            )
            return
        self.volume = volume
        self.gravity = self.level = gravity
        self.carry(alcohol)
        self.how |= {
            "alcohol_pct": say("the balance, with what went in since"),
            "gravity": say("by the balance, since something went in: read it anew"),
        }

    def _sorbated(self) -> None:
        enough = float(finishing_data()["sorbate"]["so2_molecular_mg_l"])
        if (self.facts["molecular_so2_mg_l"] or 0.0) > enough - NEARLY_MG_L:
            self.stabilised = "sulfite+sorbate"

    def _forget_ph(self, at: datetime) -> None:
        self.facts["ph"], self.ph_at = None, at

    # The end ----------------------------------------------------------------------------------

    def vessel(self, now: Progress) -> VesselContents:
        ph = self.facts["ph"]
        if now.ph is not None and _is_later(now.ph_at, self.ph_at):
            ph = now.ph
            by_sheet = now.ph_at is None
            self.how["ph"] = say("the must's sheet") if by_sheet else LAST_READING
        concentrations = {
            name: None if self.grams[held] is None else (self.grams[held] or 0.0) * scale / v
            for name, (held, scale) in PER_LITRE.items()
            for v in [max(self.volume, 1e-9)]
        }
        is_read = now.temperature_read
        self.how["temperature_c"] = say("last read") if is_read else say("as planned")
        return VesselContents(
            self.volume,
            self.gravity if self.is_read or self.carried else None,
            self.alcohol,
            self.facts["original_gravity"],
            ph,
            now.temperature_c,
            free_so2_mg_l=self.facts["free_so2_mg_l"],
            molecular_so2_mg_l=self.facts["molecular_so2_mg_l"],
            co2_g_l=self.facts["co2_g_l"],
            stabilised=self.stabilised,
            how=dict(self.how),
            put_in_g=self.put_in,
            added=tuple(self.added),
            doubts=tuple(dict.fromkeys(self.doubts)),
            **concentrations,
        )


def _is_later(read: datetime | None, since: datetime | None) -> bool:
    """Whether a pH was read after whatever last changed it; the sheet's comes before everything."""
    return since is None or (read is not None and read > since)


def steps_done(stands: Iterable[Standing], *steps: str) -> list[tuple[datetime, StepDone]]:
    """The finishing steps of a log that count, with these names if any are given."""
    return [
        (s.at, s.what)
        for s in stands
        if isinstance(s.what, StepDone) and not s.removed and (not steps or s.what.step in steps)
    ]
