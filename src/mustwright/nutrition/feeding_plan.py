"""What is a feeding plan, and what is every protocol tried on."""

from __future__ import annotations

from dataclasses import dataclass, field

from mustwright.figure import Figure
from mustwright.must.blend import MustFigures
from mustwright.nutrition.balance import BalanceRow
from mustwright.nutrition.credits import Credit
from mustwright.nutrition.demand import demand_rule
from mustwright.nutrition.last_moment import last_moment
from mustwright.nutrition.limits import LegalProfile
from mustwright.nutrition.plan_salt import PlanSalt
from mustwright.nutrition.shelf import Nutrient, Shelf
from mustwright.yeast.pitch import Pitch, Strain


@dataclass(frozen=True)
class FeedItem:
    """A weighed amount of one nutrient in one feed."""

    nutrient: str
    name: str
    grams: Figure
    nitrogen_mg_l: Figure
    teaspoons: Figure | None
    caution: str


@dataclass(frozen=True)
class Feed:
    """One feed of the plan."""

    name: str
    trigger: str
    trigger_rule: object
    expected_h: Figure
    sugar_used: float
    items: tuple[FeedItem, ...]
    nitrogen_mg_l: Figure
    ammonium_mg_l: Figure
    amino_mg_l: Figure
    notes: tuple[str, ...]


@dataclass(frozen=True)
class NitrogenSheet:
    """Nitrogen asked for, brought and added; ammonium and amino apart [mg N/L].

    `uptake_extra_mg_l` is what the maker's own uptake weights make the added nitrogen count beyond
    its mass; it is part of the total.
    """

    demand_mg_l: Figure
    aim_mg_l: Figure
    credit_mg_l: Figure
    credit_ammonium_mg_l: Figure
    credit_amino_mg_l: Figure
    credit_counted_mg_l: Figure
    rehydration_mg_l: Figure
    added_mg_l: Figure
    added_ammonium_mg_l: Figure
    added_amino_mg_l: Figure
    total_mg_l: Figure
    short_mg_l: Figure
    early_share: Figure
    uptake_extra_mg_l: Figure


@dataclass(frozen=True)
class Bound:
    """A ceiling the plan touches, or the protocol as written would break."""

    limit: str
    asked_g_l: Figure
    allowed_g_l: Figure
    words: str


@dataclass(frozen=True)
class AsWritten:
    """A protocol as its author would give it on this must, whatever would break.

    Parameters
    ----------
    feeds : tuple of Feed
        Kinds that are not on the shelf stand as generic ones.
    breaches : tuple of Bound
        Every bound of law, label and stock that it would break, and by how much.
    not_on_shelf : tuple of str
        Names of the generic kinds among its feeds.
    """

    feeds: tuple[Feed, ...]
    breaches: tuple[Bound, ...]
    not_on_shelf: tuple[str, ...] = ()


@dataclass(frozen=True)
class FeedingPlan:
    """Everything about one protocol on one must.

    Parameters
    ----------
    feasible : bool
        Whether the plan brings all the nitrogen the protocol asks for.
    gave_way : tuple of str
        What of the protocol, or of usual labels, had to give way for that; a sentence each.
    as_written : AsWritten
        What its author would give, and the bounds that would break.
    cut_share : float
        Part of the nitrogen it asks for that cannot be given (0 to 1).
    breaches : tuple of Bound
        Law, typed labels and stock that it would break as written; the plan itself keeps them all.
    nothing_after_sugar_used : float or None
        Fraction of the sugar after which the protocol feeds nothing; None where it does not say.
    salt : PlanSalt or None
        What keeps the pH up under these feeds; None where none is needed, or it was not judged.
    """

    protocol: str
    protocol_name: str
    account: str
    assumes: tuple[str, ...]
    source: str
    feasible: bool
    nitrogen: NitrogenSheet
    feeds: tuple[Feed, ...]
    products: tuple[str, ...]
    cost: Figure | None
    cost_note: str
    breaches: tuple[Bound, ...]
    touched: tuple[Bound, ...]
    missing: tuple[str, ...]
    would_free: tuple[str, ...]
    balance: tuple[BalanceRow, ...]
    cut_share: float
    as_written: AsWritten
    gave_way: tuple[str, ...] = ()
    warnings: tuple[str, ...] = field(default=())
    nothing_after_sugar_used: float | None = None
    salt: PlanSalt | None = None

    @property
    def last_moment(self) -> float:
        """Fraction of the sugar after which nothing is fed."""
        live = (feed.sugar_used for feed in self.feeds if feed.items)
        return last_moment(self.nothing_after_sugar_used, live)


@dataclass(frozen=True)
class Setting:
    """What every protocol is tried on: must, yeast, shelf and law.

    Parameters
    ----------
    temperature_c : float
        Of the must in ferment [°C].
    labels_advise : bool
        Whether the maker takes the maxima of typed labels for advice.
    follow_author : bool
        Whether protocols are followed as written: labels and stock then only advise, and nothing of
        the protocol gives way. The law holds whatever is wished.
    """

    must: MustFigures
    credit: Credit
    strain: Strain
    pitch: Pitch
    shelf: Shelf
    profile: LegalProfile
    temperature_c: float
    labels_advise: bool = False
    follow_author: bool = False

    @property
    def jars(self) -> tuple[Nutrient, ...]:
        """Jars that may go into the must."""
        return self.shelf.for_ferment

    def demand(self, rule: str = "strain") -> Figure:
        """Nitrogen this must should hold by a rule [mg N/L]."""
        return demand_rule(rule).demand(
            self.must.sugar_g_l, self.must.brix, self.strain.nitrogen_class
        )
