"""Trials: what so many vessels can show, the lot, vessels side by side, the answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from mustwright.compose import Compose
from mustwright.errors import ConflictError, InputError, MustwrightError
from mustwright.learning.tasting_text import spread_sentence
from mustwright.learning.trial import TrialArm, answer
from mustwright.learning.trial_design import THING_WORDS, plan_trial
from mustwright.nutrition.protocols import built_in_protocols
from mustwright.services import trial_forecast
from mustwright.services import trials as use
from mustwright.services.own_protocols import own_protocols
from mustwright.services.repository import MissingRecordError
from mustwright.services.trial_report import arm_words, state_sentence
from mustwright.texts import capital, say
from mustwright.web.forms.tasting_form import whole_number
from mustwright.web.forms.typed import TypedForm, said
from mustwright.web.pages.batch.shared import Form
from mustwright.web.pages.render_values import show, show_form
from mustwright.web.pictures.trial_lines import VesselLine, trial_lines, trial_values

router = APIRouter(include_in_schema=False)
OFFERED = (4, 6, 8, 10, 12)
FIELDS = (
    "name", "thing", "must", "vessels", "seed", "arm1", "what1", "arm2", "what2", "expected",
)  # fmt: skip


@router.get("/trials")
def all_trials(request: Request) -> Response:
    """Every trial, and the way to a new one."""
    compose: Compose = request.app.state.compose
    return show(request, "trials.html", kept=use.trials(compose.notebook), said=state_sentence)


@router.get("/trials/new")
def ask_for_new(request: Request) -> Response:
    """An empty form, and what layouts can show."""
    seed = str(int(request.app.state.compose.clock().timestamp()) % 100_000)
    return _new(request, TypedForm({"thing": "protocol", "vessels": "6", "seed": seed}))


@router.post("/trials/new")
def start(request: Request, typed: Form) -> Response:
    """Draw the lot and start a batch for each vessel."""
    compose: Compose = request.app.state.compose
    arms, musts = _arms(typed)
    try:
        if typed.get("do") == "expect":
            found = trial_forecast.expected_of_arms(
                compose.cellar, typed.get("thing"), arms, musts, house=compose.house_for()
            )
            layout = trial_forecast.layout_in_days(
                compose.notebook, whole_number(typed, "vessels"), len(arms)
            )
            said_ = trial_forecast.expected_sentences(found, layout)
            return _new(request, typed, expected=said_)
        kept = use.start_trial(
            compose.trial_parts,
            typed.get("name"),
            typed.get("thing"),
            arms,
            musts,
            vessels=whole_number(typed, "vessels"),
            seed=whole_number(typed, "seed"),
            now=compose.clock(),
            expected=typed.get("expected"),
        )
    except (InputError, MissingRecordError) as error:
        return _new(request, typed, _errors(error))
    return RedirectResponse(f"/trials/{kept.key}", 303)


def _arms(typed: TypedForm) -> tuple[list[TrialArm], list[str]]:
    """Both arms as chosen, and the must they share where protocols are tried."""
    by_protocol = typed.get("thing") == "protocol"
    arms = [
        TrialArm(
            typed.get(f"arm{k}").strip(),
            typed.get(f"what{k}") if by_protocol else "",
            "" if by_protocol else typed.get(f"what{k}"),
        )
        for k in (1, 2)
    ]
    return arms, [typed.get("must")] if by_protocol else []


@router.get("/trials/{key}")
def trial_page(request: Request, key: str, wrong: str = "") -> Response:
    """One trial: its vessels side by side, scores, and the answer once there is one."""
    compose: Compose = request.app.state.compose
    kept = use.trial(compose.notebook, key)
    trial, now = kept.trial, compose.clock()
    states = [use.vessel_state(compose.ledger, v.batch, now) for v in trial.vessels]
    lines = [
        VesselLine(str(v.code), state.points, v.arm if trial.is_open else 3)
        for v, state in zip(trial.vessels, states, strict=True)
    ]
    is_read = any(len(s.points) for s in states)
    return show(
        request,
        "trial.html",
        422 if wrong else 200,
        kept=kept,
        trial=trial,
        pictures=trial_lines(lines) if is_read else None,
        behind=trial_values(lines),
        rows=list(zip(trial.vessels, states, strict=True)),
        stands=state_sentence(trial),
        told=answer(trial) if trial.is_open and trial.is_scored else None,
        measures=use.MEASURES,
        arm_words=arm_words,
        wrong=wrong[:300],
    )


@router.get("/trials/{key}/labels")
def labels_page(request: Request, key: str) -> Response:
    """A label for each vessel: its code, and nothing that tells the arm."""
    kept = use.trial(request.app.state.compose.notebook, key)
    return show(request, "trial_labels.html", kept=kept, trial=kept.trial)


@router.post("/trials/{key}/judge")
def judge(request: Request, key: str, typed: Form) -> Response:
    """Take scores in, or read a measure off the batches; answer once all are there."""
    compose: Compose = request.app.state.compose
    measure = typed.get("measure") or use.SCORE
    try:
        values = _scores(compose, key, typed)
        use.judge_trial(compose.trial_parts, key, compose.clock(), measure=measure, values=values)
    except InputError as error:
        return trial_page(request, key, said(error))
    return RedirectResponse(f"/trials/{key}", 303)


@router.post("/trials/{key}/open")
def open_codes(request: Request, key: str, typed: Form) -> Response:
    """Open the codes; early where that was ticked, and then written down."""
    compose: Compose = request.app.state.compose
    try:
        use.open_trial(compose.notebook, key, compose.clock(), early=bool(typed.get("early")))
    except ConflictError as error:
        return trial_page(request, key, capital(error.text) + ".")
    return RedirectResponse(f"/trials/{key}", 303)


def _scores(compose: Compose, key: str, typed: TypedForm) -> dict[int, float]:
    found = {}
    for vessel in use.trial(compose.notebook, key).trial.vessels:
        text = typed.get(f"score_{vessel.code}").strip()
        if not text:
            continue
        try:
            found[vessel.code] = float(text)
        except ValueError:
            raise InputError(
                "values", say("needs a number under {code}", code=vessel.code), text
            ) from None
    return found


def _errors(error: MustwrightError) -> dict[str, str]:
    if not isinstance(error, InputError):
        return {"all": error.text}
    field = {"arms": "arm2"}.get(error.field, error.field)
    return {field if field in FIELDS else "all": said(error)}


def _new(
    request: Request,
    typed: TypedForm,
    errors: Mapping[str, str] | None = None,
    expected: Sequence[str] = (),
) -> Response:
    compose: Compose = request.app.state.compose
    protocols = {**built_in_protocols(), **own_protocols(compose.cellar)}
    musts = [(record.key, record.name) for record in compose.cellar.records("sheet")]
    spread = use.own_spread(compose.notebook, "days")
    plans = [plan_trial(vessels, spread=spread) for vessels in OFFERED]
    return show_form(
        request,
        "trial_new.html",
        stamp="",
        errors=errors,
        typed=typed.fields,
        things=list(THING_WORDS.items()),
        musts=musts,
        choices=[
            ("Protocols", [(p.id, p.name) for p in protocols.values()]),
            (say("Saved musts"), musts),
        ],
        plans=plans,
        spread=spread_sentence(plans[0]),
        expected=expected,
    )
