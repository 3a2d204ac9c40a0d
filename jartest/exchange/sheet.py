"""The sheet of a test, to print and file: what was tried, what was seen and measured, who decided what."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime

from jartest.exchange.curve_drawing import draw_curve
from jartest.exchange.pdf import Paper, Sheet, one_line
from jartest.exchange.words import (
    CAUTIONS,
    amount_of,
    products_in,
    rate_of,
    say_figures,
    say_look,
    say_observation,
    say_product,
    say_tank,
    say_time,
    say_water,
    say_word,
)
from jartest.imaging.lump_size import say_lumps
from jartest.imaging.overlay import draw_overlay, shrink
from jartest.imaging.photo import open_to_read
from jartest.plan.cautions import Caution
from jartest.records.acts import stood_readings
from jartest.records.cautioned import cautions_of
from jartest.records.done import departures_of
from jartest.records.model import Case, Look
from jartest.records.said import name_of
from jartest.trend import growths, say_growth, settling_curve
from jartest.units import say_number
from jartest.verdict.values import Reason, Verdict
from jartest.verdict.words import SHAPES, say_aged, say_strained, say_verdict

__all__ = ["latest_time", "sheet_of"]

_IN_ROW, _SHOWN = 4, 8  # photos on the sheet: at most two rows of four
_HIGH = 44.0  # of a photo at most, mm
_RULE = (
    "A pass needs every figure inside its limit with the photo's doubt counted against it, a fail one outside with the "
    "doubt counted for it; between the two it is a watch."
)
_PHOTO_PX = 520  # 300 dots an inch over 44 mm


def latest_time(case: Case) -> datetime:
    """When something was last recorded of the test: the date of all that is printed from it."""
    times = [r.revised_at for r in case.revisions] or [case.test.revised_at]
    times += [x.at for x in case.events] + [x.received_at for x in case.looks] + [x.at for x in case.readings]
    times += [x.at for x in case.observations] + [x.at for x in case.verdicts]
    times += [x.at for x in case.opinions] + [x.at for x in case.signatures]
    times += [x.at for x in case.second_opinions]
    return max(times)


def sheet_of(
    case: Case,
    photo_of: Callable[[str], bytes],
    *,
    address: str = "",
    paper: Paper = "letter",
    strainers: Mapping[str, int] | None = None,
    cautions: Sequence[Caution] | None = None,
) -> bytes:
    """The sheet as PDF, the same bytes for the same record.

    Parameters
    ----------
    photo_of : callable
        The bytes of a photo by its sha256.
    address : str
        Where the test can be opened, for the code; without it the code holds the test's id.
    strainers : mapping of str to int, optional
        Mesh of the sprayer's own strainers by position, against which lumps are set.
    cautions : sequence of Caution, optional
        What is to be known of this mixture, by the shop's shelf; None takes what the record alone tells.

    Raises
    ------
    StoreFault, NotFound
        If a photo is damaged or gone.
    """
    test = case.test
    sample = "SAMPLE, INVENTED: " if test.sample else ""
    title = f"Jar test #{test.number}: {sample}{test.plan.title}"
    foot = f"#{test.number}   {test.id}   as of {say_time(latest_time(case), test)}"
    with Sheet(title=title, made_at=latest_time(case), paper=paper, foot=foot) as sheet:
        _head(sheet, case, title, address)
        _recipe(sheet, case)
        _cautions(sheet, cautions_of(case.test.plan) if cautions is None else cautions)
        _verdicts(sheet, case)
        _seconds(sheet, case)
        _photos(sheet, case, photo_of)
        _readings(sheet, case, strainers or {})
        _seen(sheet, case)
        sheet.heading("Cautions", keep=20)
        for caution in CAUTIONS:
            sheet.words(f"• {caution}", size=7.5)
        return bytes(sheet.output())


def _head(sheet: Sheet, case: Case, title: str, address: str) -> None:
    test, side = case.test, 26.0
    x = sheet.w - sheet.r_margin - side
    text = address or f"jartest:{test.id}"
    sheet.code(text, x=x, y=9, side=side, alt=f"QR code of this test: {text}")
    sheet.set_y(12)
    width = x - sheet.l_margin - 2
    sheet.words(title, size=15, bold=True, kind="H1", width=width)
    mixed = f", mixed {say_time(case.mixed_at, test)}" if case.mixed_at else ", not mixed yet"
    sheet.words(f"Opened by {test.opened_by} {say_time(test.opened_at, test)}{mixed}.", width=width)
    if test.revision > 1:
        sheet.words(
            f"Plan in revision {test.revision}, by {test.revised_by} {say_time(test.revised_at, test)}.",
            width=width,
        )
    machine = case.verdicts[-1].verdict if case.verdicts else None
    s = case.signature
    person = s.word if s else case.opinions[-1].word if case.opinions else None
    persons = f"Person: {say_word(person)}" if person else "Person: none yet"
    if s is not None and case.signed_over is not None:
        persons = f"Person: {SHAPES[s.word]} {say_aged(s.word, case.signed_over.age_s)}"
    sheet.words(f"Program: {_say_program(machine)} · {persons}", size=12, bold=True, width=width)
    if s is None:
        sheet.words("Not signed.", width=width)
    else:
        then = case.signed_over
        over = "" if then is None or then.word == s.word else f" over the program's {say_word(then.word)}"
        why = f" “{s.reason}”" if s.reason else ""
        sheet.words(
            f"Signed {SHAPES[s.word]} {say_aged(s.word, then.age_s if then else None)}{over} by {s.by} {say_time(s.at, test)}, revision {s.revision} of the plan.{why}",
            width=width,
        )
    for other in case.signatures:
        if other.set_aside:
            also = f"Also signed {say_word(other.word)} by {other.by} {say_time(other.at, test)}."
            sheet.words(f"{also} {other.set_aside}", width=width)
    sheet.set_y(max(sheet.get_y(), 9 + side))


def _recipe(sheet: Sheet, case: Case) -> None:
    plan = case.test.plan
    how, products = products_in(case)
    sheet.heading(f"What was tried, {how}")
    added = {e.position: e for e in case.additions}
    rows = []
    for n, p in products:
        missing = "did not go in" if n in case.left_out else "not ticked"
        at = say_time(added[n].at, case.test, day=False) if n in added else missing
        rows.append((str(n), say_product(p), rate_of(p, case), amount_of(p), at))
    width = sheet.epw
    if rows and plan.recipe is not None:
        heads = ("", "product", "rate, as read", "in the jar", "added")
        sheet.rows(heads, rows, (8, width - 132, 62, 40, 22))
    elif rows:
        bare = [(n, product, amount, at) for n, product, _, amount, at in rows]
        sheet.rows(("", "product", "in the jar", "added"), bare, (8, width - 88, 55, 25))
    sheet.ln(1)
    if plan.recipe is not None:
        sheet.words(say_tank(case))
        for says in departures_of(case):
            sheet.words(f"Done otherwise than advised: {says}")
    sheet.words(f"Water: {say_water(case)}. Jar: {plan.jar.name}, {plan.jar.volume_ml:.0f} mL.")
    for event in case.events:
        if event.kind == "stopped" or event.note:
            sheet.words(f"{say_time(event.at, case.test)} {event.by}: {event.kind}. {event.note}")
    if plan.notes:
        sheet.words(plan.notes)


def _say_program(verdict: Verdict | None) -> str:
    if verdict is None:
        return say_word(None)
    strained = say_strained(verdict)
    return say_verdict(verdict.word, verdict.score, verdict.age_s) + (f", {strained}" if strained else "")


def _say_reason(reason: Reason) -> str:
    return say_word(None) if reason.leads_to is None else say_verdict(reason.leads_to, reason.score)


_LEVELS = {"stop": "STOP", "warning": "Beware", "note": "Note"}


def _cautions(sheet: Sheet, cautions: Sequence[Caution]) -> None:
    """What is to be known of this mixture, the worst first, with whose word each is."""
    if cautions:
        sheet.heading("Cautions for this mixture", keep=20)
        for c in cautions:
            sheet.words(f"• {_LEVELS[c.level]}: {c.says} ({c.source})", size=8, bold=c.level == "stop")


def _number(x: float) -> str:
    return "" if math.isnan(x) else say_number(x)


def _verdicts(sheet: Sheet, case: Case) -> None:
    sheet.heading("Verdicts")
    width = sheet.epw
    if case.verdicts:
        kept = case.verdicts[-1]
        sheet.words(
            f"Program: {_say_program(kept.verdict)}, {say_time(kept.at, case.test)}, "
            f"under limits {kept.verdict.limits_sha256[:12]}.",
            bold=True,
        )
        reasons = [
            (_say_reason(r), r.says, _number(r.value), _number(r.sigma), _number(r.limit))
            for r in kept.verdict.reasons
        ]
        heads = ("leads to", "because", "value", "± (1 sigma)", "limit")
        sheet.rows(heads, reasons, (30, width - 87, 17, 23, 17), size=8)
        sheet.words(_RULE, size=8)
        sheet.ln(1)
    rows = [
        (
            say_word(o.word),
            o.by,
            say_time(o.at, case.test),
            "after the program's" if o.saw_machine else "before the program's",
            o.reason,
        )
        for o in case.opinions
    ]
    if rows:
        heads = ("person's verdict", "by", "when", "given", "why")
        sheet.rows(heads, rows, (32, 26, 32, 36, width - 126))
    else:
        sheet.words("No person has given a verdict yet.")


def _seconds(sheet: Sheet, case: Case) -> None:
    rows = [
        (
            say_word(o.word),
            name_of(o),
            say_time(o.at, case.test),
            "after seeing others" if o.saw_machine else "before seeing others",
            "\n".join(x for x in (o.reason, *(m.words for m in o.marks), o.changed_since) if x),
        )
        for o in case.second_opinions
    ]
    if rows:
        sheet.heading("Second opinions", keep=25)
        heads = ("verdict", "by", "when", "given", "why")
        sheet.rows(heads, rows, (32, 26, 32, 36, sheet.epw - 126))


def _chosen(looks: Sequence[Look]) -> list[Look]:
    """At most eight looks: the first, the last, and others evenly between."""
    if len(looks) <= _SHOWN:
        return list(looks)
    return [looks[round(i * (len(looks) - 1) / (_SHOWN - 1))] for i in range(_SHOWN)]


def _photos(sheet: Sheet, case: Case, photo_of: Callable[[str], bytes]) -> None:
    looks = _chosen(case.looks)
    if not looks:
        return
    shown = "" if len(looks) == len(case.looks) else f" ({len(looks)} of {len(case.looks)} looks)"
    sheet.heading(f"Photos, with what was measured{shown}", keep=_HIGH + 8)
    gap = 3.0
    wide = (sheet.epw - (_IN_ROW - 1) * gap) / _IN_ROW
    for start in range(0, len(looks), _IN_ROW):
        sheet.need(_HIGH + 8)
        top, low = sheet.get_y(), 0.0
        for n, look in enumerate(looks[start : start + _IN_ROW]):
            x = sheet.l_margin + n * (wide + gap)
            photo = open_to_read(photo_of(look.photo.sha256), look.photo.original_name)
            kept = case.latest_reading(look.id)
            jpeg = (
                shrink(photo, _PHOTO_PX)
                if kept is None
                else draw_overlay(photo, kept.reading, width_px=_PHOTO_PX)
            )
            says = f"{say_look(look, case)}, {say_time(look.taken_at, case.test)}"
            figures = (
                "" if kept is None else ": " + ", ".join(f"{k} {v}" for k, v in say_figures(kept.reading))
            )
            tall = min(_HIGH, wide * photo.height_px / photo.width_px)
            sheet.picture(jpeg, f"The jar {one_line(says)}{figures}", x=x, y=top, w=wide, h=tall)
            low = max(low, tall)
        sheet.set_y(top + low + 0.8)
        _captions(sheet, case, looks[start : start + _IN_ROW], wide, gap)


def _captions(sheet: Sheet, case: Case, looks: Sequence[Look], wide: float, gap: float) -> None:
    top, low = sheet.get_y(), 0.0
    margin = sheet.l_margin
    for n, look in enumerate(looks):
        sheet.set_left_margin(margin + n * (wide + gap))
        sheet.set_xy(sheet.l_margin, top)
        said = f"{say_look(look, case)} ({say_time(look.taken_at, case.test)})"
        sheet.words(f"{said}\n{look.note}", size=8, width=wide)
        low = max(low, sheet.get_y())
    sheet.set_left_margin(margin)
    sheet.set_xy(margin, low + 2)


def _readings(sheet: Sheet, case: Case, strainers: Mapping[str, int]) -> None:
    rows = []
    points = []
    for look in case.looks:
        kept = case.latest_reading(look.id)
        if kept is None:
            continue
        by_hand = "lines set by hand" if kept.origin == "set" else ""
        doubts = "; ".join(x for x in (", ".join(kept.reading.flags), by_hand) if x) or "none"
        rows.append(
            (
                say_look(look, case).removesuffix(" after mixing"),
                *(v for _, v in say_figures(kept.reading)),
                "" if kept.verdict.score is None else str(kept.verdict.score),
                doubts,
            )
        )
        if look.age_s is not None:
            points.append((look.age_s, kept.reading))
    if not rows:
        return
    sheet.heading("Readings, as share of the liquid's height, ± one sigma", keep=30)
    heads = ("look", "settled", "clear", "floating", "foam", "lumps", "score", "doubts")
    wide = sheet.epw
    sheet.rows(heads, rows, (28, 25, 25, 25, 25, 15, 12, wide - 155), size=8)
    methods = sorted({r.reading.method for x in case.looks if (r := case.latest_reading(x.id))})
    sheet.words(
        "Lumps: 0 smooth to 1 plainly lumpy. Score of the photo alone: pass 67 to 100, watch 34 to 66, fail 0 to 33. Not measurable: the photo does not show it well enough; never guessed. "
        f"Method {', '.join(methods)}.",
        size=8,
    )
    for says in _lumps(case, strainers):
        sheet.words(f"• {says}", size=8)
    draw_curve(sheet, points)
    stood = settling_curve((s, kept.reading) for s, kept in stood_readings(case))
    for growth in growths(stood):
        sheet.words(f"• {say_growth(growth)}", size=8)


def _lumps(case: Case, strainers: Mapping[str, int]) -> list[str]:
    """The lumps of each look against the sprayer's strainers, once for looks that say the same."""
    said: dict[str, str] = {}
    for look in case.looks:
        kept = case.latest_reading(look.id)
        if kept is not None and (says := say_lumps(kept.reading, strainers)):
            said.setdefault(says, say_look(look, case))
    return [f"Lumps, {look}: {says}" for says, look in said.items()]


def _seen(sheet: Sheet, case: Case) -> None:
    standing = case.standing_observations()
    if not standing:
        return
    sheet.heading("What people saw")
    names = {x.id: say_look(x, case) for x in case.looks}
    rows = [
        (say_time(o.at, case.test), o.by, names.get(o.look_id or "", "the whole test"), say_observation(o))
        for o in standing
    ]
    sheet.rows(("when", "by", "of", "what"), rows, (32, 26, 34, sheet.epw - 92))
    corrected = len(case.observations) - len(standing)
    if corrected:
        sheet.words(f"Corrected since: {corrected}; the record keeps them.", size=8)
