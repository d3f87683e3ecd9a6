"""Whatever is done to batches in whatever order, the store holds what a plain list would."""

from __future__ import annotations

import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    consumes,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from batches import PITCHED, plan
from cases import cases
from databases import KINDS, place_of
from mustwright.batch.entries import (
    Correction,
    Entry,
    Note,
    PlanAdopted,
    Reading,
    Removal,
    Restoration,
    what_data,
)
from mustwright.batch.log import standing
from mustwright.errors import ConflictError
from mustwright.services.batch.repository import ChangedEntryError, SameIdError
from mustwright.services.repository import MissingRecordError
from mustwright.store.cellar_store import CellarStore

GRAVITIES = st.integers(980, 1200).map(lambda g: g / 1000)
TEXTS = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\x00"), min_size=1)


class Batches(RuleBasedStateMachine):
    """The store beside a model: for each batch its lines, and whether it is hidden."""

    store: CellarStore
    names = Bundle("names")

    def __init__(self) -> None:
        super().__init__()
        self.model: dict[str, list[Entry]] = {}
        self.versions: dict[str, int] = {}
        self.hidden: set[str] = set()
        self.count = 0

    def entry(self, what, hours: float = 1.0) -> Entry:
        self.count += 1
        return Entry(f"n{self.count}", PITCHED + timedelta(hours=hours), "me", what)

    def kept(self, slug: str, written: list[Entry]) -> None:
        self.model[slug] += written
        self.versions[slug] += len(written)

    @rule(target=names, name=st.sampled_from(["Heather", "Ling", "heather!", "Über"]))
    def start(self, name):
        record = self.store.ledger.start(name, "", [self.entry(PlanAdopted(plan()), 0)])
        assert record.slug not in self.model
        self.model[record.slug] = self.store.ledger.log(record.slug)
        self.versions[record.slug] = 1
        return record.slug

    @rule(slug=names, gravity=GRAVITIES, hours=st.floats(0, 900))
    def read(self, slug, gravity, hours):
        entry = self.entry(Reading(gravity=gravity), hours)
        self.write(slug, [entry])

    @rule(slug=names, texts=st.lists(TEXTS.filter(str.strip), min_size=1, max_size=4))
    def write_several(self, slug, texts):
        self.write(slug, [self.entry(Note(text)) for text in texts])

    def write(self, slug, entries):
        if slug in self.hidden:
            with pytest.raises(MissingRecordError):
                self.store.ledger.append(slug, entries)
            return
        self.kept(slug, self.store.ledger.append(slug, entries))

    @precondition(lambda self: any(self.model.values()))
    @rule(slug=names, data=st.data())
    def write_again(self, slug, data):
        if slug in self.hidden:
            return
        old = data.draw(st.sampled_from(self.model[slug]))
        again = Entry(old.id, old.at, "someone", old.what)
        assert self.store.ledger.append(slug, [again]) == [old]
        with pytest.raises(SameIdError):
            self.store.ledger.append(slug, [Entry(old.id, old.at, "me", Note("otherwise"))])

    @rule(slug=names, data=st.data(), gravity=GRAVITIES, is_stale=st.booleans())
    def correct(self, slug, data, gravity, is_stale):
        stands = [s for s in standing(self.model[slug]) if isinstance(s.what, Reading)]
        if slug in self.hidden or not stands:
            return
        stand = data.draw(st.sampled_from(stands))
        after = what_data(Reading(gravity=gravity))
        change = Correction(stand.entry.id, stand.at, stand.at, what_data(stand.what), after)
        entry = self.entry(change)
        if is_stale and stand.changes:
            with pytest.raises(ChangedEntryError) as refused:
                self.store.ledger.append(slug, [entry], stand.version - 1)
            assert refused.value.theirs[-1] == stand.changes[-1]
            return
        self.kept(slug, self.store.ledger.append(slug, [entry], self.versions[slug]))

    @rule(slug=names, data=st.data())
    def remove_or_restore(self, slug, data):
        if slug in self.hidden:
            return
        stand = data.draw(st.sampled_from(standing(self.model[slug])))
        change = Restoration if stand.removed else Removal
        self.write(slug, [self.entry(change(stand.entry.id))])

    @rule(slug=names)
    def hide(self, slug):
        if slug in self.hidden:
            return
        with pytest.raises(ConflictError):
            self.store.ledger.delete_batch(slug, self.versions[slug] + 1)
        self.store.ledger.delete_batch(slug, self.versions[slug])
        self.versions[slug] += 1
        self.hidden.add(slug)

    @rule(slug=names)
    def show(self, slug):
        self.store.ledger.restore_batch(slug)
        if slug in self.hidden:
            self.hidden.remove(slug)
            self.versions[slug] += 1

    @rule(slug=consumes(names))
    def forget(self, slug):
        """Fewer names to choose from; the batch itself stays."""

    @invariant()
    def holds_the_same(self):
        shown = {b.slug: b.version for b in self.store.ledger.batches()}
        wanted = {s: v for s, v in self.versions.items() if s not in self.hidden}
        assert shown == wanted
        for slug in list(shown)[-2:]:
            assert self.store.ledger.log(slug) == self.model[slug]


@pytest.mark.parametrize("kind", KINDS)
def test_the_store_holds_what_a_list_would(kind):
    ticks = iter(datetime(2031, 12, 1, tzinfo=UTC) + timedelta(seconds=s) for s in range(10**7))
    with tempfile.TemporaryDirectory() as folder, place_of(kind, Path(folder)) as place:
        store = CellarStore(place, lambda: next(ticks), Path(folder))

        class Machine(Batches):
            def __init__(self) -> None:
                super().__init__()
                self.store = store
                with store._engine.begin() as connection:
                    for table in ("photo", "token", "entry", "batch"):
                        connection.exec_driver_sql(f"DELETE FROM {table}")

        checks = [HealthCheck.too_slow, HealthCheck.filter_too_much]
        run_state_machine_as_test(
            Machine,
            settings=cases(40, stateful_step_count=25, suppress_health_check=checks),
        )
        store.close()
