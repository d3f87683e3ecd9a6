"""A cellar in memory, held to the same contract as the one in a file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from mustwright.errors import ConflictError
from mustwright.services.repository import MissingRecordError, Record, slug_from_name


class Drawer:
    """Records of one kind by key, and which of them are deleted."""

    def __init__(self, kind: str, clock: Callable[[], datetime]) -> None:
        self.kind = kind
        self.clock = clock
        self.kept: dict[str, Record] = {}
        self.deleted: set[str] = set()

    def all(self) -> list[Record]:
        return [self.kept[key] for key in sorted(self.kept) if key not in self.deleted]

    def one(self, key: str) -> Record:
        if key not in self.kept or key in self.deleted:
            raise MissingRecordError(self.kind, key)
        return self.kept[key]

    def save(self, key: str, version: int | None, record: Record) -> Record:
        if version is None:
            if key in self.kept and key not in self.deleted:
                raise ConflictError(f"{key} is kept already")
        else:
            self._expect(key, version)
        before = self.kept[key].version if key in self.kept else 0
        self.deleted.discard(key)
        self.kept[key] = replace(record, version=before + 1, updated_at=self.clock())
        return self.kept[key]

    def delete(self, key: str, version: int) -> None:
        self._expect(key, version)
        self._count_up(key)
        self.deleted.add(key)

    def restore(self, key: str) -> Record:
        if key not in self.kept:
            raise MissingRecordError(self.kind, key)
        if key in self.deleted:
            self.deleted.remove(key)
            self._count_up(key)
        return self.kept[key]

    def _count_up(self, key: str) -> None:
        record = self.kept[key]
        self.kept[key] = replace(record, version=record.version + 1, updated_at=self.clock())

    def _expect(self, key: str, version: int) -> None:
        if self.one(key).version != version:
            raise ConflictError(f"{key} was changed")


class FakeCellar:
    """Satisfies `mustwright.services.repository.Cellar`."""

    def __init__(self, clock: Callable[[], datetime]) -> None:
        self.clock = clock
        self._drawers = {kind: Drawer(kind, clock) for kind in ("sheet", "protocol", "nutrient")}
        self._flags: set[str] = set()

    def records(self, kind: str) -> list[Record]:
        return self._drawers[kind].all()

    def record(self, kind: str, key: str) -> Record:
        return self._drawers[kind].one(key)

    def save(
        self, kind: str, key: str | None, text: str, version: int | None, name: str = ""
    ) -> Record:
        drawer = self._drawers[kind]
        key = key or slug_from_name(name, set(drawer.kept))
        return drawer.save(key, version, Record(key, text, 0, self.clock(), name))

    def delete(self, kind: str, key: str, version: int) -> None:
        self._drawers[kind].delete(key, version)

    def restore(self, kind: str, key: str) -> Record:
        return self._drawers[kind].restore(key)

    def answers(self) -> None:
        """A cellar in memory always does."""

    def has_flag(self, name: str) -> bool:
        return name in self._flags

    def set_flag(self, name: str) -> None:
        self._flags.add(name)
