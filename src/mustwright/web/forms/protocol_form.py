"""A protocol's simple settings as fields over its text: what a field changes goes into the text."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import tomlkit
from tomlkit.toml_document import TOMLDocument

from mustwright.errors import InputError
from mustwright.texts import say
from mustwright.web.forms.sheet_form import parse
from mustwright.web.forms.typed import TypedForm, put, shown

WHENS = (
    ("pitch", say("at pitch")),
    ("onset", say("at onset")),
    ("after_pitch", say("so long after pitch (24 h)")),
    ("after_onset", say("so long after onset (12 h)")),
    ("sugar_used", say("share of the sugar used (0.33)")),
    ("brix_drop", say("fall in Brix (2.5 Bx)")),
    ("gravity_drop", say("fall in gravity (0.030)")),
    ("text", say("as the text says")),
)
SIMPLE = ("id", "name", "account", "source")
FEED_FIELDS = ("name", "when", "amount", "share", "nutrients")


def protocol_document(text: str) -> TOMLDocument:
    """A protocol whose feeds have the shape a form can fill.

    Raises
    ------
    InputError
    """
    document = parse(text)
    found = document.get("feed", [])
    if not isinstance(found, list) or not all(isinstance(one, Mapping) for one in found):
        raise InputError("feed", say("needs one to twelve [[feed]] tables"), found)
    return document


def typed_from_protocol(text: str) -> TypedForm:
    """Fields and feed rows as the text fills them.

    Raises
    ------
    InputError
    """
    document = protocol_document(text)
    typed = TypedForm({key: shown(document.get(key)) for key in SIMPLE})
    typed.fields["assumes"] = "\n".join(str(one) for one in _list(document.get("assumes")))
    for feed in _feeds(document):
        when, amount = _when(feed.get("when"))
        nutrients = ", ".join(str(one) for one in _list(feed.get("nutrients")))
        row = (shown(feed.get("name")), when, amount, shown(feed.get("share")), nutrients)
        typed.rows.append(dict(zip(FEED_FIELDS, row, strict=True)))
    typed.fields["text"] = text
    return typed


def protocol_from_typed(base: str, typed: TypedForm) -> str:
    """The typed text with every field that differs from the base's written over it."""
    before = typed_from_protocol(base)
    document = protocol_document(typed.get("text"))
    for key in SIMPLE:
        if typed.get(key, before.get(key)).strip() != before.get(key).strip():
            put(document, key, typed.get(key))
    if _lines(typed.get("assumes", before.get("assumes"))) != _lines(before.get("assumes")):
        document["assumes"] = _lines(typed.get("assumes"))
    changed = [row for row in typed.rows if any(v.strip() for v in row.values())]
    if changed != before.rows:
        _write_feeds(document, typed.rows, before.rows)
    return tomlkit.dumps(document)


def protocol_field(field: str) -> str:
    """The form field that shows a field of the protocol; the text if there is none."""
    feed = re.match(r"feed\[(\d+)\](?:\.(\w+))?", field)
    if feed:
        key = {"when": "amount"}.get(feed[2] or "", feed[2] or "name")
        return f"feed.{feed[1]}.{key}" if key in FEED_FIELDS else "text"
    return field if field in (*SIMPLE, "assumes") else "text"


def _write_feeds(document: Any, rows: list[dict[str, str]], before: list[dict[str, str]]) -> None:
    feeds = _feeds(document)
    kept = []
    for i, row in enumerate(rows):
        if row.get("strike") or not any(
            row.get(k, "").strip() for k in ("name", "share", "amount")
        ):
            continue
        feed = feeds[i] if i < len(feeds) else tomlkit.table()
        _write_feed(feed, row, before[i] if i < len(before) else {})
        kept.append((i, feed))
    for i in reversed(range(len(feeds))):
        if i < len(rows) and i not in [j for j, _ in kept]:
            del document["feed"][i]
    added = [feed for i, feed in kept if i >= len(feeds)]
    if added and not _feeds(document):
        document.pop("feed", None)
        fresh = tomlkit.aot()
        for feed in added:
            fresh.append(feed)
        document["feed"] = fresh
    else:
        for feed in added:
            document["feed"].append(feed)


def _write_feed(feed: Any, row: Mapping[str, str], old: Mapping[str, str]) -> None:
    def differs(*keys: str) -> bool:
        return any(row.get(k, "").strip() != old.get(k, "").strip() for k in keys)

    if differs("name"):
        put(feed, "name", row.get("name", ""))
    if differs("when", "amount") and row.get("when") != "text":
        feed["when"] = _trigger(row.get("when", "pitch"), row.get("amount", "").strip())
    if differs("share"):
        put(feed, "share", row.get("share", ""), numeric=True)
    if differs("nutrients"):
        names = [n.strip() for n in row.get("nutrients", "").split(",") if n.strip()]
        if names:
            feed["nutrients"] = names
        else:
            feed.pop("nutrients", None)


def _trigger(when: str, amount: str) -> Any:
    if when in ("pitch", "onset"):
        return when
    table = tomlkit.inline_table()
    put(table, when, amount or "?", numeric=when == "sugar_used")
    return table


def _when(value: object) -> tuple[str, str]:
    if isinstance(value, str):
        return str(value), ""
    if isinstance(value, Mapping) and len(value) == 1:
        key, content = next(iter(value.items()))
        if str(key) in dict(WHENS) and not isinstance(content, (list, dict)):
            return str(key), shown(content)
    return "text", ""


def _feeds(document: Mapping[str, Any]) -> list[Any]:
    return _list(document.get("feed"))


def _list(value: object) -> list[Any]:
    return list(value) if isinstance(value, list) else []


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]
