"""What pH, where will it go, and what steadies it: the acid of a must sheet as an answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from mustwright.figure import ARITHMETIC, Figure
from mustwright.kinetics.ensemble_setting import MEMBERS, SEED
from mustwright.must.acidity.balance import buffer_capacity
from mustwright.must.acidity.calibrate import calibrate, reading_sd
from mustwright.must.acidity.course import (
    AcidCourse,
    CourseAddition,
    Traits,
    draw_traits,
)
from mustwright.must.acidity.members import MustMembers
from mustwright.must.acidity.path import Path, ph_along, pick_traits
from mustwright.must.acidity.reading import Bench, bench_trial
from mustwright.must.acidity.salts import Salt, salt_called
from mustwright.nutrition.balance import BalanceRow, need, short_of
from mustwright.nutrition.feeding_plan import FeedingPlan
from mustwright.nutrition.plan import plan_feeding
from mustwright.nutrition.protocols import Protocol, built_in_protocols, protocol_called
from mustwright.planning.acidity.claims_text import claims_of, refusals_of
from mustwright.planning.acidity.feed_acid import (
    NO_PROTOCOL,
    additions_of,
    as_kind,
    course_of,
)
from mustwright.planning.acidity.measurements import Ways, answer_measuring, answer_potassium
from mustwright.planning.acidity.prior import UNKNOWN, draw_members, portions_of, water_question
from mustwright.planning.acidity.request import AcidityRequest
from mustwright.planning.acidity.result import (
    AcidFeed,
    AcidityResult,
    BenchAnswer,
    BenchPoint,
    ProtocolAcid,
    SourceAcid,
    StartAnswer,
    TroughAnswer,
    band_figure,
    path_rows,
    start_answer,
    trough_answer,
)
from mustwright.planning.acidity.salt_dose import answer_dose
from mustwright.planning.acidity.salt_judgement import salt_ask, shelf_salt
from mustwright.planning.must_setup import Ground, ground_of
from mustwright.planning.plan_forecast import recommended_on
from mustwright.texts import join, say

Floats = NDArray[np.float64]
FEWEST_FOR_BENCH = 10  # equal members; with fewer a band says nothing
MODEL = "charge balance of the must's acids and ions; Davies1962, Goldberg2002, Prenesti2012"


def acidity(
    text: str,
    asked: AcidityRequest,
    protocol: str | None = None,
    own: Mapping[str, Protocol] | None = None,
    name: str = "must",
    compare: bool = False,
) -> AcidityResult:
    """The acid of the must in a sheet.

    Parameters
    ----------
    text : str
        The sheet, TOML.
    asked : AcidityRequest
    protocol : str or None
        Id of the feeding protocol; ``none`` for no feeds; None for the recommended one.
    own : mapping of str to Protocol or None
        The maker's own protocols, by id.
    name : str
        For a sheet without a name.
    compare : bool
        Also compare every protocol.

    Raises
    ------
    InputError, ImpossibleError, UnknownKindError
    """
    return _Acidity(text, asked, protocol, own or {}, name).answer(compare)


@dataclass
class _Acidity:
    """The steps from sheet to answer, in order."""

    text: str
    asked: AcidityRequest
    protocol: str | None
    own: Mapping[str, Protocol]
    name: str
    notes: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.ground: Ground = ground_of(self.text, self.name)
        self.sheet = self.ground.sheet
        self.salt: Salt = self._salt()
        self.ph = self.asked.ph if self.asked.ph is not None else self.sheet.measured.ph
        self.traits: Traits = draw_traits(self.asked.members, self.asked.seed)
        self.prior: MustMembers = self._members()
        self.must: MustMembers = self._calibrated()
        self.bench: Bench | None = self._bench()

    def answer(self, compare: bool) -> AcidityResult:
        """Everything, written out."""
        plan_used = self._plan()
        additions = self._additions(plan_used)
        course = self._course(additions)
        path = ph_along(self.must, course, self.traits)
        floor, setting = self.asked.floor, self.ground.setting
        feeds = self._feeds(additions, path)
        loads = [(at, a.acid_load_meq_l) for at, a in additions]
        ask = salt_ask(self.must, course, self.traits, self.salt, floor, loads, setting)
        dose = answer_dose(
            ask,
            path,
            self.salt,
            setting.profile,
            setting.must.volume_l,
            setting.shelf.scale_g,
            self.asked.aim_ta_g_l,
        )
        start = self._start()
        return AcidityResult(
            name=self.sheet.name,
            must=self.ground.must,
            start=start,
            titratable_acid_g_l=self._titratable(8.2),
            titratable_acid_to_7_g_l=self._titratable(7.0),
            buffer_meq_l=self._buffer(),
            protocol=plan_used.protocol if plan_used else NO_PROTOCOL,
            protocol_name=plan_used.protocol_name if plan_used else say("no feeds"),
            acid_load_meq_l=_load_figure(feeds),
            feeds=feeds,
            trough=self._trough(path, start),
            path=path_rows(path),
            path_with_dose=path_rows(dose.trial.path) if dose.trial else (),
            by_source=self._by_source(additions),
            protocols=self._protocols() if compare else (),
            dose=dose.answer,
            in_plan=self._in_plan(plan_used, dose.answer.grams.value),
            alternatives=dose.alternatives,
            up_front=dose.up_front,
            up_front_words=dose.up_front_words,
            aim=dose.aim,
            bench=self._bench_answer(),
            measuring=answer_measuring(
                self.must, path, dose.trial, self.ph is not None, self.asked.ta_g_l is not None
            ),
            potassium=answer_potassium(
                self.must,
                self._potassium_row(plan_used),
                dose.answer.potassium_mg_l.value,
                path,
                dose.trial.path if dose.trial else path,
                self.asked.seed,
                Ways(ask.feeds_acid, ask.allowed.most_g_l > 0),
            ),
            claims=claims_of(self.ph is not None),
            refusals=refusals_of(self.ph is not None, path),
            cautions=dose.cautions,
            members=self.asked.members,
            seed=self.asked.seed,
            warnings=(*self.notes, *self.ground.warnings),
        )

    # What the must is ----------------------------------------------------------------------------

    def _salt(self) -> Salt:
        if self.asked.salt is not None:
            return salt_called(self.asked.salt, "--salt")
        return shelf_salt(self.sheet.shelf)

    def _members(self) -> MustMembers:
        if portions_of(self.ground)[1]:
            self.notes.append(UNKNOWN)
        if self.ph is None:
            self.notes += water_question(self.ground)
        return draw_members(self.ground, self.asked.members, self.asked.seed)

    def _calibrated(self) -> MustMembers:
        kind = "strip" if self.asked.by_strip else "meter"
        done = calibrate(
            self.prior,
            self.asked.seed,
            ph=self.ph,
            ph_sd=reading_sd(kind),
            ta_g_l=self.asked.ta_g_l,
            members=self.asked.members,
        )
        self.notes += done.notes
        return done.must

    def _bench(self) -> Bench | None:
        if not self.asked.bench:
            return None
        sd = reading_sd("strip" if self.asked.by_strip else "meter")
        done = bench_trial(self.must, self.salt, self.asked.bench, 1.5 * sd, self.asked.seed)
        if done.effective < FEWEST_FOR_BENCH:
            self.notes.append(
                say(
                    "Check the weights, the volume of the sample and the meter: "
                    "hardly any possible must shows this bench trial, so it is "
                    "ignored."
                )
            )
            return done
        self.must = done.must
        self.traits = pick_traits(self.traits, done.rows)
        return done

    def _bench_answer(self) -> BenchAnswer | None:
        if self.bench is None:
            return None
        volume = self.ground.setting.must.volume_l
        points = tuple(
            BenchPoint(
                grams,
                ph,
                Figure(
                    grams * volume.value, "g", say("grams per litre x volume"), ARITHMETIC,
                    {"g_per_l": grams, "volume_l": volume},
                ),
            )
            for grams, ph in self.asked.bench
        )  # fmt: skip
        return BenchAnswer(points, round(self.bench.effective, 1))

    # The ferment ---------------------------------------------------------------------------------

    def _plan(self) -> FeedingPlan | None:
        if self.protocol == NO_PROTOCOL:
            return None
        if self.protocol is None:
            return replace(recommended_on(self.ground, self.own).plan, salt=None)
        return plan_feeding(self.ground.setting, protocol_called(self.protocol, self.own))

    def _additions(self, feeding: FeedingPlan | None) -> list[tuple[float, CourseAddition]]:
        return additions_of(self.ground.setting, feeding)

    def _course(self, additions: Sequence[tuple[float, CourseAddition]]) -> AcidCourse:
        temperature_c = self.sheet.temperature_c
        return course_of(self.must, self.traits, self.ground.must, temperature_c, additions)

    def _path(self, additions: Sequence[tuple[float, CourseAddition]]) -> Path:
        return ph_along(self.must, self._course(additions), self.traits)

    def _potassium_row(self, feeding: FeedingPlan | None) -> BalanceRow:
        """As the plan counts it; without a plan the must alone."""
        if feeding is not None:
            return next(r for r in feeding.balance if r.nutrient == "potassium")
        wanted, why = need("potassium")
        none = Figure(0.0, "mg/L", say("nothing is fed"), ARITHMETIC)
        must = self.ground.setting.credit.traces["potassium"]
        short = short_of(wanted, must, none, none)
        return BalanceRow("potassium", wanted, must, none, none, short, why)

    def _in_plan(self, feeding: FeedingPlan | None, grams: float) -> str:
        """How this dose stands in the plan, which goes by the sheet alone."""
        if feeding is None:
            return ""
        asked = replace(self.asked, ph=None, members=MEMBERS, seed=SEED)
        by_sheet = self.asked.ph in (None, self.sheet.measured.ph) and asked == AcidityRequest()
        if not by_sheet:
            return say(
                "The plan does not know what you entered here. Write the pH into "
                "the must, and its salt follows."
            )
        if self.sheet.measured.ph is None and portions_of(self.ground)[1]:
            return say("The plan carries no salt yet: neither ingredients nor pH are known.")
        if grams <= 0:
            return ""
        return say(
            "The lowest pH above is with nothing added. The plan has this salt as a step, and its "
            "forecast counts it."
        )

    # What the maker reads ------------------------------------------------------------------------

    def _start(self) -> StartAnswer:
        # Unmeasured, it is said as it settles within some hours, as the forecast begins.
        here = self.must.ph() if self.ph is not None else self.must.rested().ph()
        prior = self.prior.rested().ph()
        return start_answer(here, prior, self.ph, self.asked.by_strip, self.asked.ta_g_l, MODEL)

    def _trough(self, path: Path, start: StartAnswer) -> TroughAnswer:
        return trough_answer(path, self.asked.floor, start.band, MODEL)

    def _titratable(self, end: float) -> Figure:
        values = self.must.titratable_g_l(end)
        return band_figure(
            values,
            say("g/L as tartaric"),
            say("the same balance titrated with strong base to pH {end:g}", end=end),
            MODEL,
        )

    def _buffer(self) -> Figure:
        values = 1000 * buffer_capacity(self.must.rows) * self.must.solvent_kg_l
        return band_figure(
            values, "meq/L per pH", say("slope of base against pH at its own pH"), MODEL
        )

    def _feeds(
        self, additions: Sequence[tuple[float, CourseAddition]], path: Path
    ) -> tuple[AcidFeed, ...]:
        with_all = path.trough()
        found = []
        for i, (at, addition) in enumerate(additions):
            without = self._path([*additions[:i], *additions[i + 1 :]]).trough()
            load = Figure(
                addition.acid_load_meq_l,
                "meq/L",
                say("ammonium N / 14.007 - phosphate that came with it"),
                ARITHMETIC,
                {
                    "ammonium_mg_l": addition.ammonium_mg_l,
                    "phosphate_mmol_l": addition.phosphate_mmol_l,
                },
            )
            moved = band_figure(
                with_all - without, "pH", say("lowest pH with it - lowest pH without it"), MODEL
            )
            found.append(
                AcidFeed(
                    addition.name, round(at, 3), addition.ammonium_mg_l, addition.amino_mg_l,
                    load, moved,
                )
            )  # fmt: skip
        return tuple(found)

    def _by_source(
        self, additions: Sequence[tuple[float, CourseAddition]]
    ) -> tuple[SourceAcid, ...]:
        """The same nitrogen at the same moments, as if it were all of one kind."""
        total = sum(a.ammonium_mg_l + a.amino_mg_l for _, a in additions)
        if total < 5:
            return ()
        found = []
        for kind, words in (
            ("amino", say("all amino nitrogen (yeast products)")),
            ("blend", say("two thirds ammonium as phosphate, one third amino")),
            ("phosphate", say("all ammonium phosphate (DAP)")),
            ("sulfate", say("all ammonium sulfate")),
        ):
            made = [(at, as_kind(a, kind)) for at, a in additions]
            path = self._path(made)
            load = sum(a.acid_load_meq_l for _, a in made)
            found.append(
                SourceAcid(
                    kind,
                    words,
                    Figure(
                        load, "meq/L", say("sum over the feeds"), ARITHMETIC, {"nitrogen": total}
                    ),
                    trough_answer(path, self.asked.floor, None, MODEL),
                )
            )
        return tuple(found)

    def _protocols(self) -> tuple[ProtocolAcid, ...]:
        found = []
        for protocol in [*built_in_protocols().values(), *self.own.values()]:
            feeding = plan_feeding(self.ground.setting, protocol)
            additions = self._additions(feeding)
            ammonium = sum(a.ammonium_mg_l for _, a in additions)
            whole = ammonium + sum(a.amino_mg_l for _, a in additions)
            found.append(
                ProtocolAcid(
                    protocol.id,
                    protocol.name,
                    round(ammonium / whole, 3) if whole > 0 else 0.0,
                    Figure(
                        sum(a.acid_load_meq_l for _, a in additions),
                        "meq/L", say("sum over the feeds"), ARITHMETIC,
                    ),
                    trough_answer(self._path(additions), self.asked.floor, None, MODEL),
                )
            )  # fmt: skip
        return tuple(found)


def _load_figure(feeds: Sequence[AcidFeed]) -> Figure:
    return Figure(
        sum(f.acid_load_meq_l.value for f in feeds),
        "meq/L",
        say("sum over the feeds"),
        ARITHMETIC,
        {join("", (f.name, f" ({i + 1})")): f.acid_load_meq_l for i, f in enumerate(feeds)},
    )
