"""What a page of a batch may never say together: the list of pairs, asked of one view."""

from __future__ import annotations

import json
from datetime import UTC, datetime

from icalendar import Calendar

from mustwright.batch.assessment import FERMENTS, OVER, STOPPED
from mustwright.batch.calendar import calendar_text
from mustwright.batch.outlook import NEVER_H
from mustwright.batch.paper import paper_of
from mustwright.batch.replan import no_proposal_words
from mustwright.batch.view import BatchView
from mustwright.batch.view_json import digest_of, view_data
from mustwright.bench.batch_start import start_from
from mustwright.cli.batch_text import view_lines
from mustwright.web.pages.batch import facts, view_model

FITS = "The plan still fits what was read."
LONGEST_SENTENCE = 25


def broken_pairs(view: BatchView) -> list[str]:
    """Every pair of the list that this view says together."""
    checks = (
        _stopped_and_going_on, _feeding_what_must_not, _plan_fits, _past_and_due, _one_figure,
        _calm_and_trouble, _calendar, _words,
    )  # fmt: skip
    return [said for check in checks for said in check(view)]


def _rules(view: BatchView) -> dict[str, bool]:
    return {f.rule: f.sure for f in view.findings}


def _stopped_and_going_on(view: BatchView) -> list[str]:
    of, rules = view.assessed, _rules(view)
    found = []
    if of.phase == STOPPED:
        if view.outlook.used(0.99).expected_h < NEVER_H and of.used < 0.9:
            found.append("stopped short, and nearly dry on a day")
        if not any("not until it ferments again" in f.value for f in facts.facts_of(view, UTC)):
            found.append("stopped short, and the facts foresee an end")
    if "stuck" in rules and ({"finished", "settled"} & set(rules) or of.phase in OVER):
        found.append("stuck and finished")
    if (view.restart is not None) and of.phase in OVER:
        found.append("a restart for one that is over")
    if of.chance_stopped_short + of.chance_finished > 1 + 1e-6:
        found.append("chances above one")
    left = of.sugar_left_g_l
    if not left.p05 <= left.p50 <= left.p95:
        found.append("quantiles out of order")
    typed = start_from(view, UTC).more["fermenting"]
    if bool(typed) != (of.phase in FERMENTS):
        found.append("the bench believes otherwise whether it ferments")
    return found


def _feeding_what_must_not(view: BatchView) -> list[str]:
    of, state, step = view.assessed, view.progress, view.step
    salts = {jar.id for jar in state.plan.jars if jar.group == "ammonium"}
    found = []
    if step.kind == "feed":
        late = state.sugar_used > 1 / 3 + 0.04 or of.alcohol_pct > 9
        if late and any(d.nutrient in salts for d in step.doses):
            found.append("feed ammonium past the third or over 9 %")
        if of.phase == STOPPED or of.is_over or (of.is_stale and step.is_due):
            found.append(f"feed while {of.phase}, stale {of.is_stale}")
        row = next(s for s in state.feeds if s.feed.key == step.feed)
        if row.state != "ahead":
            found.append("feed what is withdrawn")
    if of.is_over and any(s.state == "ahead" for s in state.feeds):
        found.append("a feed ahead of one that is over")
    if any(s.state == "withdrawn" for s in state.feeds) and step.kind != "none":
        named = [s.feed.name for s in state.feeds if s.state == "withdrawn"]
        if not all(name in step.withdrawn for name in named):
            found.append("withdrawn without its name")
    return found


def _plan_fits(view: BatchView) -> list[str]:
    of = view.assessed
    said = "" if view.proposal else no_proposal_words(view.progress, of)
    doubt = of.phase == STOPPED or of.may_have_stopped or of.is_stale or of.is_over
    found = [f"fits, and {of.phase}"] if said == FITS and doubt else []
    if view.proposal is not None and (of.phase == STOPPED or of.is_over):
        found.append("a proposal for feeds of one that must not be fed")
    return found


def _past_and_due(view: BatchView) -> list[str]:
    now, step = view.progress.now, view.step
    found = []
    if step.at is not None and step.at < now:
        found.append("the next step lies in the past")
    if "yesterday" in step.sentence:
        found.append("yesterday")
    paper = paper_of(view, UTC)
    found += ["due yesterday on paper" for f in paper.feeds
              if f.state == "ahead" and "yesterday" in f.expected]  # fmt: skip
    if paper.next_step != step.sentence:
        found.append("paper says another step")
    return found


def _one_figure(view: BatchView) -> list[str]:
    of, data, digest = view.assessed, view_data(view), json.loads(digest_of(view))
    held = start_from(view, UTC).held
    found = []
    same = (of.gravity, data["state"]["gravity"], data["assessment"]["gravity"], held.gravity)
    if len(set(same)) != 1:
        found.append(f"gravities {same}")
    if len({of.alcohol_pct, data["state"]["alcohol_pct"], held.alcohol_pct}) != 1:
        found.append("two strengths")
    if digest["gravity"] != (None if of.gravity is None else round(of.gravity, 4)):
        found.append("the list has another gravity")
    if digest["phase"] != of.phase or data["assessment"]["phase"] != of.phase:
        found.append("two phases")
    lines = " ".join(view_lines(view, UTC)[:8])
    if of.gravity is not None and f"gravity {of.gravity:.3f}" not in lines:
        found.append("the command has another gravity")
    strong = "not known" if of.is_unknown else f"about {of.alcohol_pct:.1f} % vol"
    if strong not in lines or of.phase not in lines:
        found.append("the command has another strength or phase")
    said = {f.label: f.value for f in facts.facts_of(view, UTC)}
    if of.gravity is not None and said["Gravity"] != f"{of.gravity:.3f}":
        found.append("the page has another gravity")
    name = "Alcohol when last read, about" if of.is_stale else "Alcohol, about"
    told = said["Alcohol"] if of.is_unknown else said[name]
    if told != ("not known" if of.is_unknown else f"{of.alcohol_pct:.1f} % vol"):
        found.append("the page has another strength")
    return found


def _calm_and_trouble(view: BatchView) -> list[str]:
    of = view.assessed
    if of.phase == STOPPED and not view.findings and not of.is_stale:
        return ["stopped short, and nothing gives cause to worry"]
    if view.step.kind == "check" and not view.findings and of.phase != STOPPED:
        return ["a check without a finding"]
    return []


def _calendar(view: BatchView) -> list[str]:
    found = []
    minute = view.progress.now.replace(second=0, microsecond=0)
    gone = {s.feed.key for s in view.progress.feeds if s.state == "withdrawn"}
    for event in Calendar.from_ical(calendar_text([view], "test", UTC)).walk("VEVENT"):
        at: datetime = event["DTSTART"].dt
        if event["STATUS"] == "TENTATIVE" and at < minute:
            found.append(f"the calendar has {event['SUMMARY']} in the past")
        key = str(event["UID"]).partition("@")[0].rpartition("-")[2]
        if key in gone and event["STATUS"] != "CANCELLED":
            found.append("the calendar holds a feed that is withdrawn")
    return found


def _words(view: BatchView) -> list[str]:
    count = len(view.step.sentence.split())
    long = [f"{count} words: {view.step.sentence}"] if count > LONGEST_SENTENCE else []
    rows = view_model.feed_rows(view, UTC)
    due = [r for r in rows if r.is_due and r.state != "ahead"]
    if view.step.kind == "feed" and view.step.is_due and not any(r.is_due for r in rows):
        long.append("feed now, and the list of feeds has none due")
    return long + ["due and not ahead" for _ in due]
