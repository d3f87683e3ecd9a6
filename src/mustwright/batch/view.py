"""A batch as it stands at one moment: its pages, commands, prints and lists all start from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from mustwright.batch.alert import Finding
from mustwright.batch.assessment import Assessment
from mustwright.batch.diagnosis import Diagnosis
from mustwright.batch.forecast_record import Foreseen
from mustwright.batch.legal_alerts import BEYOND
from mustwright.batch.log import Standing
from mustwright.batch.one_step import NextStep
from mustwright.batch.outlook import BatchOutlook
from mustwright.batch.ph_forecast_record import PhForeseen
from mustwright.batch.progress import Progress
from mustwright.batch.replan import Proposal
from mustwright.batch.restart import RestartPlan
from mustwright.batch.series import NOTHING, Trace


@dataclass(frozen=True)
class BatchRecord:
    """A batch without its log.

    Parameters
    ----------
    slug : str
        Its short name in addresses; never changes.
    sheet : str
        Slug of the must it was started from; empty when there was none.
    version : int
        Goes up by one with each line of the log and each change of the name, deletion, restoration.
    digest : str
        JSON of how it stood when last looked at; empty before that.
    digest_version : int
        The version the digest was made from.
    digest_at : datetime or None
    cellar : str
        Another one once a copy was restored: what was worked out before is of no use then.
    """

    slug: str
    name: str
    sheet: str
    version: int
    updated_at: datetime
    digest: str = ""
    digest_version: int = 0
    digest_at: datetime | None = None
    cellar: str = field(default="", compare=False)


@dataclass(frozen=True)
class BatchView:
    """A batch at one moment.

    Parameters
    ----------
    read_log : callable
        Gives the log, for `stands`.
    diagnosis, restart : Diagnosis or RestartPlan or None
        If it is slow or stuck.
    foreseen : Foreseen or None
        What the fermentation model says: chances, bands, hours to dry, nitrogen left, feeds.
    assessed : Assessment
        Phase, sugar left, chances, what the vessel holds: what everything else reads.
    ph : PhForeseen or None
        What the acid model says, where it knows the latest pH reading.
    pending : bool
        Whether a newer forecast is being worked out.
    events, feeds : tuple of Standing
        Events and finishing steps, and feeds, that count by now.
    warmth : Trace
        Temperatures of the must by now [°C].
    entries : int
        How many the log has, removed ones too.
    in_order : bool
        Whether its lines follow one another in time.
    """

    record: BatchRecord
    read_log: Callable[[], tuple[Standing, ...]]
    progress: Progress
    outlook: BatchOutlook
    findings: tuple[Finding, ...]
    proposal: Proposal | None
    step: NextStep
    diagnosis: Diagnosis | None
    restart: RestartPlan | None
    assessed: Assessment
    foreseen: Foreseen | None = None
    ph: PhForeseen | None = None
    pending: bool = False
    events: tuple[Standing, ...] = ()
    feeds: tuple[Standing, ...] = ()
    warmth: Trace = NOTHING
    entries: int = 0
    in_order: bool = False

    @property
    def beyond(self) -> tuple[Finding, ...]:
        """What went beyond law, labels or stock: named above everything else."""
        return tuple(f for f in self.findings if f.rule in BEYOND)

    @cached_property
    def stands(self) -> tuple[Standing, ...]:
        """Its log as it stands, removed entries too; read when first asked for."""
        return self.read_log()
