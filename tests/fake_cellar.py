"""A cellar in memory, held to the same contract as the one in a file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from typing import Any

from mustwright.errors import ConflictError
from mustwright.services.repository import (
    MissingRecordError,
    ProtocolRecord,
    SheetRecord,
    ShelfRecord,
    slug_from_name,
)


class Drawer:
    """Records of one kind by key, and which of them are deleted."""

    def __init__(self, kind: str, clock: Callable[[], datetime]) -> None:
        self.kind = kind
        self.clock = clock
        self.kept: dict[str, Any] = {}
        self.deleted: set[str] = set()

    def all(self) -> list[Any]:
        return [self.kept[key] for key in sorted(self.kept) if key not in self.deleted]

    def one(self, key: str) -> Any:
        if key not in self.kept or key in self.deleted:
            raise MissingRecordError(self.kind, key)
        return self.kept[key]

    def save(self, key: str, version: int | None, record: Any) -> Any:
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

    def restore(self, key: str) -> Any:
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
        self._sheets = Drawer("sheet", clock)
        self._protocols = Drawer("protocol", clock)
        self._nutrients = Drawer("nutrient", clock)
        self._flags: set[str] = set()
        self.sheets, self.sheet = self._sheets.all, self._sheets.one
        self.delete_sheet, self.restore_sheet = self._sheets.delete, self._sheets.restore
        self.protocols, self.protocol = self._protocols.all, self._protocols.one
        self.delete_protocol = self._protocols.delete
        self.restore_protocol = self._protocols.restore
        self.nutrients, self.nutrient = self._nutrients.all, self._nutrients.one
        self.delete_nutrient = self._nutrients.delete
        self.restore_nutrient = self._nutrients.restore

    def save_sheet(
        self, slug: str | None, name: str, text: str, version: int | None
    ) -> SheetRecord:
        slug = slug or slug_from_name(name, set(self._sheets.kept))
        return self._sheets.save(slug, version, SheetRecord(slug, name, text, 0, self.clock()))

    def save_protocol(self, id: str, text: str, version: int | None) -> ProtocolRecord:
        return self._protocols.save(id, version, ProtocolRecord(id, text, 0, self.clock()))

    def save_nutrient(self, id: str, text: str, version: int | None) -> ShelfRecord:
        return self._nutrients.save(id, version, ShelfRecord(id, text, 0, self.clock()))

    def has_flag(self, name: str) -> bool:
        return name in self._flags

    def set_flag(self, name: str) -> None:
        self._flags.add(name)
