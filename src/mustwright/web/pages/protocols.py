"""Ways of feeding: what each takes for granted, and how a maker writes one of their own."""

from __future__ import annotations

import re
from collections.abc import Mapping

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright import data
from mustwright.errors import ConflictError, InputError
from mustwright.nutrition.protocols import (
    FeedRule,
    Protocol,
    built_in_protocols,
    protocol_called,
)
from mustwright.services import records as use
from mustwright.services.repository import Cellar
from mustwright.web.forms.protocol_form import (
    FEED_FIELDS,
    WHENS,
    protocol_field,
    protocol_from_typed,
    typed_from_protocol,
)
from mustwright.web.forms.typed import TypedForm, said
from mustwright.web.pages.must_form import Form, version_of
from mustwright.web.pages.render_values import put_away as shown_away
from mustwright.web.pages.render_values import show, show_form
from mustwright.web.pictures.feed_line import nominal_line

router = APIRouter(include_in_schema=False)
BASES = {
    "demand": "Fills what the must lacks",
    "rate": "Stated grams per litre",
    "label": "What the label says, whatever the must",
}


@router.get("/protocols")
def all_protocols(request: Request, gone: str = "") -> Response:
    """Built-in protocols and the maker's own."""
    cellar: Cellar = request.app.state.compose.cellar
    readable = use.own_protocols(cellar)
    own = [_entry(p) for p in readable.values()]
    unreadable = [r.id for r in cellar.protocols() if r.id not in readable]
    built_in = [_entry(p) for p in built_in_protocols().values()]
    return show(
        request,
        "protocols.html",
        own=own,
        built_in=built_in,
        unreadable=unreadable,
        gone=shown_away(gone),
    )


@router.get("/protocols/new")
def new_protocol(request: Request, like: str = "thirds_on_days_0_2_4") -> Response:
    """Make one from another: its text under a new id and name."""
    cellar: Cellar = request.app.state.compose.cellar
    model = protocol_called(like, use.own_protocols(cellar))
    text = _text(cellar, model)
    taken = {p.id for p in cellar.protocols()} | set(built_in_protocols())
    identity = _free_id(model.id, taken)
    text = re.sub(r"(?m)^id\s*=.*$", f'id = "{identity}"', text, count=1)
    text = re.sub(r'(?m)^name\s*=.*$', lambda _: f'name = {_quoted("My " + _lower(model.name))}',
                  text, count=1)  # fmt: skip
    typed = typed_from_protocol(text)
    return _form(request, None, typed, text, "")


@router.post("/protocols/new")
def keep_new(request: Request, typed: Form) -> Response:
    """Keep a new protocol."""
    return _keep(request, None, typed)


@router.get("/protocols/{identity}")
def one_protocol(request: Request, identity: str) -> Response:
    """One protocol with its feeds drawn and its file as text."""
    cellar: Cellar = request.app.state.compose.cellar
    kept = {record.id: record for record in cellar.protocols()}
    if identity in kept:
        try:
            protocol = use.own_protocols(cellar)[identity]
        except KeyError:
            return RedirectResponse(f"/protocols/{identity}/edit", 303)
    elif identity in built_in_protocols():
        protocol = built_in_protocols()[identity]
    else:
        cellar.protocol(identity)  # says that it is not there
        raise AssertionError(identity)
    return show(
        request,
        "protocol.html",
        entry=_entry(protocol),
        text=_text(cellar, protocol),
        record=kept.get(identity),
    )


@router.get("/protocols/{identity}/edit")
def edit_protocol(request: Request, identity: str) -> Response:
    """One of the maker's own in the form."""
    record = request.app.state.compose.cellar.protocol(identity)
    try:
        typed = typed_from_protocol(record.text)
    except InputError:
        typed = TypedForm({"text": record.text})
    return _form(request, identity, typed, record.text, str(record.version))


@router.post("/protocols/{identity}/edit")
def keep_changes(request: Request, identity: str, typed: Form) -> Response:
    """Keep changes to one's own protocol."""
    return _keep(request, identity, typed)


@router.post("/protocols/{identity}/delete")
def put_away(request: Request, identity: str, typed: Form) -> Response:
    """Hide one's own protocol; it can be brought back."""
    request.app.state.compose.cellar.delete_protocol(identity, version_of(typed))
    return RedirectResponse(f"/protocols?gone={identity}", 303)


@router.post("/protocols/{identity}/restore")
def bring_back(request: Request, identity: str) -> Response:
    """Undo a deletion."""
    request.app.state.compose.cellar.restore_protocol(identity)
    return RedirectResponse(f"/protocols/{identity}", 303)


def _keep(request: Request, identity: str | None, typed: TypedForm) -> Response:
    cellar: Cellar = request.app.state.compose.cellar
    base, version = typed.get("base"), typed.get("version")
    if typed.get("do") == "row":
        typed.rows.append({})
        return _form(request, identity, typed, base, version)
    try:
        text = protocol_from_typed(base, typed)
        number = version_of(typed) if identity else None
        record = use.save_protocol(cellar, text, number, identity)
    except ConflictError:
        assert identity is not None
        now = cellar.protocol(identity)
        return _form(request, identity, typed, base, str(now.version), {}, now.text)
    except InputError as error:
        field = protocol_field(error.field)
        shown_at = said(error) if field != "text" else str(error)
        return _form(request, identity, typed, base, version, {field: shown_at})
    return RedirectResponse(f"/protocols/{record.id}", 303)


def _form(
    request: Request,
    identity: str | None,
    typed: TypedForm,
    base: str,
    version: str,
    errors: Mapping[str, str] | None = None,
    theirs: str = "",
) -> Response:
    return show_form(
        request,
        "protocol_form.html",
        stamp=version,
        errors=errors,
        theirs=theirs,
        heading="Change my protocol" if identity else "A protocol of my own",
        action=f"/protocols/{identity}/edit" if identity else "/protocols/new",
        identity=identity,
        typed=typed,
        base=base,
        whens=WHENS,
        feed_fields=FEED_FIELDS,
    )


def _entry(protocol: Protocol) -> dict[str, object]:
    slots, third = use.nominal_feeds(protocol)
    drawn = [(slot.expected.value, slot.rule.name, _share(slot.rule)) for slot in slots]
    rules = [
        {"name": rule.name, "share": _share(rule), "from": _from(rule),
         "when": rule.trigger.words(use.NOMINAL_BRIX).split(" (gravity")[0]}
        for rule in protocol.feeds
    ]  # fmt: skip
    low, high = protocol.suits_gravity
    return {
        "protocol": protocol,
        "basis": BASES[protocol.basis],
        "rules": rules,
        "suits": f"{low:.3f} to {high:.3f}",
        "picture": nominal_line(drawn, third, protocol.id),
    }


def _share(rule: FeedRule) -> str:
    if rule.rates:
        return " + ".join(f"{rate.typical_g_l:.2f} g/L" for rate in rule.rates)
    return f"{100 * rule.share:.0f} %"


def _from(rule: FeedRule) -> str:
    return " or ".join(
        "any nutrient" if n == "any" else n.replace("_", " ") for n in rule.nutrients
    )


def _text(cellar: Cellar, protocol: Protocol) -> str:
    if protocol.built_in:
        return data.text_of(f"protocols/{protocol.id}")
    return cellar.protocol(protocol.id).text


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
