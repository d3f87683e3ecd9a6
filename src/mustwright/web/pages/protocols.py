"""Ways of feeding: what each takes for granted, and how a maker writes one of their own."""

from __future__ import annotations

import re

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.errors import InputError
from mustwright.must.gravity_text import gravity_span
from mustwright.nutrition.protocols import (
    FeedRule,
    Protocol,
    built_in_protocols,
    protocol_called,
)
from mustwright.services.own_protocols import (
    NOMINAL_BRIX,
    nominal_feeds,
    own_protocols,
    protocol_text,
    protocol_texts,
    save_protocol,
)
from mustwright.services.repository import Cellar, MissingRecordError, Record
from mustwright.texts import before, join, say
from mustwright.web.forms.protocol_form import (
    FEED_FIELDS,
    WHENS,
    protocol_field,
    protocol_from_typed,
    typed_from_protocol,
)
from mustwright.web.forms.typed import TypedForm
from mustwright.web.pages.record_form import RecordForm, add_routes, cellar_of
from mustwright.web.pages.render_values import put_away, show
from mustwright.web.pictures.feed_line import nominal_line

router = APIRouter(include_in_schema=False)
USUAL_MODEL = "thirds_on_days_0_2_4"
BASES = {
    "demand": say("Fills what the must lacks"),
    "rate": say("Stated grams per litre"),
    "label": say("What the label says, whatever the must"),
}


@router.get("/protocols")
def all_protocols(request: Request, gone: str = "") -> Response:
    """Built-in protocols and the maker's own."""
    cellar = cellar_of(request)
    readable = own_protocols(cellar)
    return show(
        request,
        "protocols.html",
        own=[_entry(one) for one in readable.values()],
        built_in=[_entry(one) for one in built_in_protocols().values()],
        unreadable=[r.key for r in cellar.records("protocol") if r.key not in readable],
        gone=put_away(gone),
    )


def _blank(request: Request) -> tuple[TypedForm, str]:
    """One made from another: its text under a new id and name."""
    cellar = cellar_of(request)
    model = protocol_called(request.query_params.get("like", USUAL_MODEL), own_protocols(cellar))
    taken = {record.key for record in cellar.records("protocol")} | set(built_in_protocols())
    text, identity = _text(cellar, model), _free_id(model.id, taken)
    text = re.sub(r"(?m)^id\s*=.*$", f'id = "{identity}"', text, count=1)
    text = re.sub(r'(?m)^name\s*=.*$', lambda _: f"name = {_quoted('My ' + _lower(model.name))}",
                  text, count=1)  # fmt: skip
    return typed_from_protocol(text), text


def _fill(record: Record) -> TypedForm:
    try:
        return typed_from_protocol(record.text)
    except InputError:
        return TypedForm({"text": record.text})


def _keep(cellar: Cellar, key: str | None, typed: TypedForm, version: int | None) -> Record:
    return save_protocol(cellar, protocol_from_typed(typed.get("base"), typed), version, key)


add_routes(
    router,
    RecordForm(
        "protocol",
        "protocol_form.html",
        "/protocols/new",
        "/protocols/{key}/edit",
        "/protocols/{key}",
        (say("A protocol of my own"), say("Change my protocol")),
        _blank,
        _fill,
        _keep,
        lambda error, _: protocol_field(error.field),
        lambda *_: {"whens": WHENS, "feed_fields": FEED_FIELDS},
        gone_at="/protocols?gone={key}",
    ),
)


@router.get("/protocols/{identity}")
def one_protocol(request: Request, identity: str) -> Response:
    """One protocol with its feeds drawn and its file as text."""
    cellar = cellar_of(request)
    record = next((r for r in cellar.records("protocol") if r.key == identity), None)
    known = own_protocols(cellar) if record else built_in_protocols()
    if record is None and identity not in known:
        raise MissingRecordError("protocol", identity)
    if identity not in known:
        return RedirectResponse(f"/protocols/{identity}/edit", 303)
    protocol = known[identity]
    return show(
        request,
        "protocol.html",
        entry=_entry(protocol),
        text=_text(cellar, protocol),
        record=record,
    )


def _entry(protocol: Protocol) -> dict[str, object]:
    slots, third = nominal_feeds(protocol)
    drawn = [(slot.expected.value, slot.rule.name, _share(slot.rule)) for slot in slots]
    rules = [
        {"name": rule.name, "share": _share(rule), "from": _from(rule),
         "when": before(rule.trigger.words(NOMINAL_BRIX), " (")}
        for rule in protocol.feeds
    ]  # fmt: skip
    low, high = protocol.suits_gravity
    return {
        "protocol": protocol,
        "basis": BASES[protocol.basis] if protocol.feeds else say("Feeds nothing"),
        "rules": rules,
        "suits": gravity_span(low, high),
        "picture": nominal_line(drawn, third, protocol.id),
    }


def _share(rule: FeedRule) -> str:
    if rule.rates:
        return join(" + ", [say("{rate:.2f} g/L", rate=r.typical_g_l) for r in rule.rates])
    return say("{value:.0f} %", value=100 * rule.share)


KIND_NAMES = {
    "ammonium": say("ammonium"),
    "organic": say("organic"),
    "complex": say("complex"),
    "mineral": say("mineral"),
}


def _from(rule: FeedRule) -> str:
    kinds = [say("any nutrient") if n == "any" else KIND_NAMES.get(n, n) for n in rule.nutrients]
    return join(say(" or "), kinds)


def _text(cellar: Cellar, protocol: Protocol) -> str:
    return protocol_text(protocol.id, protocol_texts(cellar))


def _free_id(identity: str, taken: set[str]) -> str:
    stem = f"my_{identity.removeprefix('my_')}"[:44]
    found, number = stem, 2
    while found in taken:
        found, number = f"{stem}_{number}", number + 1
    return found


def _quoted(words: str) -> str:
    return '"' + words.replace("\\", "\\\\").replace('"', '\\"')[:80] + '"'


def _lower(name: str) -> str:
    return name.removeprefix("My ")[:1].lower() + name.removeprefix("My ")[1:]
