"""What the capture pages say: which jar, which look, and what was read."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from starlette.responses import Response

from jartest.field.pages import plain_page, say
from jartest.field.question_page import PICTURE
from jartest.imaging.quality import flag
from jartest.imaging.values import Reading
from jartest.plan.schedule import EXTRA, DueLook, next_look
from jartest.recorder import LookTaken, RunningTest, say_slot
from jartest.records.model import Case

__all__ = ["form_page", "other_page", "say_read", "taken_json", "taken_page"]

# Flags that a better photo would mend; of the others the person at the screen hears.
_RETAKE = ("no jar", "two jars", "cut off", "small", "blur", "dark", "overexposed")


def form_page(
    case: Case, standing: RunningTest, *, slot: str, again: bool, pick: bool, by: str, now: datetime
) -> Response:
    """The page with the one large button; `slot` is the look asked for, empty for the one that is due."""
    states = {d.slot.key: d for d in standing.due}
    chosen = states.get(slot)
    if chosen is None and slot != EXTRA:
        chosen = next_look([d for d in standing.due if d.state in ("due", "late")])
    key = EXTRA if chosen is None else chosen.slot.key
    plan = case.test.plan
    # An Android picker without a camera opens for images alone; any other token brings the camera back.
    source = (
        'accept="image/*,.heic,android/allowcamera"' if pick else 'accept="image/*" capture="environment"'
    )
    head = f"<p>{say(plan.title)}<br><b>{say(_say_due(chosen, say_slot(key, plan), now))}</b></p>"
    form = (
        '<form method="post" enctype="multipart/form-data">'
        f'<input type="hidden" name="slot" value="{say(key)}">'
        + ('<input type="hidden" name="again" value="1">' if again else "")
        + f'<label>Your name<input name="by" required maxlength="80" value="{say(by)}" autocomplete="name"></label>'
        f'<label class="b" for="p">{"Choose" if pick else "Take"} the photo</label>'
        f'<input id="p" type="file" name="photo" required {source}><button>Send</button></form>'
    )
    return plain_page(
        f"Jar {case.test.number}",
        f'{head}{form}<p><a href="?other">Another look, or a photo already taken</a><br>'
        '<a href="?pocket">Photos away from the shop</a></p>',
    )


def other_page(case: Case, standing: RunningTest) -> Response:
    """The page that leads to the looks that are not due, and to photos that were taken already."""
    open_ = [d for d in standing.due if d.state in ("due", "late", "missed", "coming")]
    links = [(f"?slot={d.slot.key}", f"{say_slot(d.slot.key, case.test.plan)} ({d.state})") for d in open_]
    links += [(f"?slot={EXTRA}", "extra look"), ("?pick", "a photo already taken")]
    body = "".join(f'<a class="b" href="{say(to)}">{say(text)}</a>' for to, text in links)
    return plain_page(f"Jar {case.test.number}: which look?", body)


def taken_page(
    case: Case, standing: RunningTest, taken: LookTaken, *, now: datetime, asked: str = ""
) -> Response:
    """The answer to a photo that is kept: what was read, what is `asked` of it (HTML), what to do better, what comes next."""
    look, reading = taken.look, taken.reading.reading
    slot = say_slot(look.slot, case.test.plan)
    parts = [
        f"<p><b>Received and kept: {say(slot)}</b> of jar {case.test.number}, by {say(look.by)}.</p>",
        f"<p>{say(say_read(reading))}</p>",
    ]
    parts.append(asked)
    poor = [flag(name) for name in reading.flags if name in _RETAKE]
    if poor:
        told = " ".join(f"{f.says} {f.do}" for f in poor)
        parts.append(f'<p role="alert"><b>Take it again.</b> {say(told)}</p>')
        parts.append(f'<a class="b" href="?slot={say(look.slot)}&again=1">Take it again</a>')
    parts += [f"<p>{say(w)}</p>" for w in taken.warnings]
    following = next_look(standing.due)
    if following is not None:
        parts.append(f"<p>{say(_say_next(following, say_slot(following.slot.key, case.test.plan), now))}</p>")
    parts.append('<a class="b" href="?">Next photo of this jar</a>')
    return plain_page("Photo received", "".join(parts), status=201, headers=PICTURE if asked else None)


def taken_json(case: Case, taken: LookTaken) -> dict[str, object]:
    """The same answer for the test's own screen, in parts that it puts into its list of photos sent."""
    reading = taken.reading.reading
    poor = [flag(name) for name in reading.flags if name in _RETAKE]
    return {
        "look": taken.look.id,
        "slot": taken.look.slot,
        "kept": f"Received and kept: {say_slot(taken.look.slot, case.test.plan)}.",
        "says": say_read(reading),
        "again": " ".join(f"{f.says} {f.do}" for f in poor),
        "warnings": list(taken.warnings),
    }


def say_read(reading: Reading) -> str:
    """What was read of a photo, in one sentence; no verdict, which never stands without its reasons."""
    if not reading.jar_found:
        return "No jar could be read in it."
    named = (
        ("settled", reading.settled_fraction),
        ("clear", reading.clear_fraction),
        ("floating", reading.top_layer_fraction),
        ("foam", reading.foam_fraction),
    )
    seen = [
        f"{name} {100 * value:.0f} %" for name, value in named if not math.isnan(value) and value >= 0.005
    ]
    unknown = [name for name, value in named if math.isnan(value)]
    said = ", ".join(seen) or ("no layer" if not unknown else "no layer that could be measured")
    lumps = "" if math.isnan(reading.floc_index) else f"; lump index {reading.floc_index:.2f}"
    missing = f"; not measurable: {', '.join(unknown)}" if unknown else ""
    return f"Read: {said}{lumps}{missing}."


def _say_due(look: DueLook | None, slot: str, now: datetime) -> str:
    if look is None:
        return "Extra look: no planned one is due"
    if look.due_at is None:
        return f"Look {slot}"
    if look.state == "coming":
        return f"{slot} look: due in {_say_time(look.due_at - now)}; a photo now counts for it, with its true time"
    return f"{slot} look: {look.state}, since {_say_time(now - look.due_at)}"


def _say_next(look: DueLook, slot: str, now: datetime) -> str:
    if look.due_at is None or look.due_at <= now:
        return f"The {slot} look is due now."
    return f"Next: the {slot} look in {_say_time(look.due_at - now)}."


def _say_time(length: timedelta) -> str:
    minutes = int(length.total_seconds() // 60)
    if minutes < 1:
        return f"{max(0, int(length.total_seconds()))} s"
    return f"{minutes} min" if minutes < 120 else f"{minutes // 60} h {minutes % 60} min"
