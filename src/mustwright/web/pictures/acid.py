"""Where does the pH go: bands against the sugar used, the floor, and the moment of each dose."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from markupsafe import Markup

from mustwright.must.acidity.claims import lowest_shown, stall_words
from mustwright.planning.acidity.result import AcidityResult
from mustwright.texts import say
from mustwright.web.pictures.batch_ph import LEAST_TOP, PH_TICKS
from mustwright.web.pictures.frame import Frame, Scale
from mustwright.web.pictures.svg import Canvas, curve, fan, line, rect, text
from mustwright.web.pictures.values import ValueTable

HEIGHT, NARROW_HEIGHT = 320.0, 270.0
LOWEST = 2.6
Rows = Sequence[Mapping[str, float]]


def acid_picture(result: AcidityResult, narrow: bool = False) -> Markup:
    """Bands without and with the dose; the wide one or the narrow one."""
    canvas, height = Canvas("acid", narrow), NARROW_HEIGHT if narrow else HEIGHT
    rows, dosed = result.path, result.path_with_dose
    top = max(LEAST_TOP, *(row["p95"] for row in (*rows, *dosed)))
    frame = Frame(
        Scale(0.0, 1.0, 36.0 if narrow else 52.0, canvas.width - 8.0),
        Scale(LOWEST, top + 0.1, height - 40.0, 24.0),
    )
    paths = [_path(rows, frame, "c4"), *([_path(dosed, frame, "c0")] if dosed else [])]
    floor = result.trough.floor
    stall = frame.up.at(lowest_shown()) + 14
    body = [
        *_ground(frame, narrow),
        *(band for band, _ in paths),
        *(middle for _, middle in paths),
        *frame.level(floor, say("floor {floor:g}", floor=floor), "t halo", at_end=True),
        *_doses(result, frame),
        text(
            frame.across.end - 4, stall, stall_words(), "t halo",
            "end",
        ),
    ]  # fmt: skip
    title = say(
        "pH along the ferment by sugar used; lowest {band_words}",
        band_words=result.trough.band.words,
    )
    if dosed:
        title += say("; with the dose {lowest}", lowest=_lowest(dosed))
    return canvas.picture(height, title, body, frame.axis_words)


def acid_values(result: AcidityResult) -> ValueTable:
    """What stands behind that picture."""
    dosed = result.path_with_dose or (None,) * len(result.path)  # both at the same moments
    rows = [
        (row["sugar_used"], label, _told(row, beside))
        for row, beside, label in zip(result.path, dosed, _moments(result.path), strict=True)
        if label
    ]
    return ValueTable(
        (say("nothing added"), *((say("with the dose"),) if dosed else ())), tuple(rows)
    )


def _moments(rows: Rows) -> list[str]:
    """What to call each moment; empty where its share of the sugar was said before.

    Where something goes in, a course has two moments at one share: just before and just after.
    """
    used = [row["sugar_used"] for row in rows]
    labels: list[str] = [say("{used:.0%}", used=x) for x in used]
    for k in range(1, len(used)):
        if used[k] == used[k - 1]:
            labels[k - 1] = say("{used:.0%}, before the addition", used=used[k])
            labels[k] = say("{used:.0%}, after the addition", used=used[k])
        elif labels[k] == say("{used:.0%}", used=used[k - 1]):
            labels[k] = ""
    return labels


def _told(row: Mapping[str, float], dosed: Mapping[str, float] | None) -> tuple[str, ...]:
    """The range of nine in ten without the dose, and with it; never below the lowest pH shown."""
    lowest = lowest_shown()

    def span(of: Mapping[str, float]) -> str:
        if of["p95"] < lowest:
            return say("below {lowest:g}", lowest=lowest)
        low = (
            say("{ph:.1f}", ph=of["p05"])
            if of["p05"] >= lowest
            else say("below {lowest:g}", lowest=lowest)
        )
        return say("{low} to {high:.1f}", low=low, high=of["p95"])

    return (span(row),) if dosed is None else (span(row), span(dosed))


def _lowest(rows: Rows) -> str:
    last = min(rows, key=lambda row: row["p05"])
    return say(
        "nine in ten between {low:.1f} and {high:.1f} where it is lowest",
        low=last["p05"],
        high=last["p95"],
    )


def _ground(frame: Frame, narrow: bool) -> list[str]:
    """The part below what is shown, the grid, and what the axes are."""
    across, bottom, stall = frame.across, frame.up.start, frame.up.at(lowest_shown())
    drawn = [
        rect(across.start, stall, across.end - across.start, bottom - stall, "stall"),
        line(across.start, stall, across.end, stall, "stall-edge"),
        *frame.ticks("pH", *PH_TICKS, ".1f"),
    ]
    for part in (0.0, 0.25, 0.5, 0.75, 1.0):
        x = across.at(part)
        drawn.append(line(x, frame.up.end, x, bottom, "grid"))
        anchor = "start" if part == 0 else "end" if part == 1 else "middle"
        words = say("yeast in") if part == 0 else say("{part:.0%}", part=part)
        drawn.append(text(x, bottom + 16, words, "t tick", anchor))
    words = say("of the sugar used") if narrow else say("of the fermentable sugar used")
    return [*drawn, text(across.end, bottom + 33, words, "t tick", "end")]


def _path(rows: Rows, frame: Frame, style: str) -> tuple[str, str]:
    """The band of nine in ten, and its middle."""
    used = frame.across.along([row["sugar_used"] for row in rows])
    high, low, middle = (
        frame.up.along([row[key] for row in rows]) for key in ("p95", "p05", "p50")
    )
    return fan(used, high, low, style), curve(used, middle, style)


def _doses(result: AcidityResult, frame: Frame) -> list[str]:
    moments = result.dose.moments
    places = [frame.across.at(moment.sugar_used) for moment in moments]
    drawn = [line(x, frame.up.end, x, frame.up.start, "need") for x in places]
    words = say("dose") if len(moments) == 1 else say("doses")
    return drawn + [text(x + 6, frame.up.end + 12, words, "t halo") for x in places[:1]]
