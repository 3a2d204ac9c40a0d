"""Everything that happened in a test, as sentences in order of time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone

from jartest.recorder import came_later, say_slot
from jartest.records.model import Case, KeptReading, Look, Observation
from jartest.verdict.signs import sign
from jartest.verdict.values import Verdict
from jartest.verdict.words import say_remix, say_verdict

__all__ = ["Happening", "say_observation", "timeline"]

_ORIGINS = {
    "found": "lines as found in the photo",
    "carried": "lines carried over from the earlier look",
    "set": "lines set by hand",
}


_TICKS = {"added": "in", "undone": "not in, the tick was undone", "left out": "did not go in"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Happening:
    """One thing that happened: when, by whom (nobody for the machine), and in words."""

    at: datetime
    by: str
    says: str


def timeline(case: Case) -> tuple[Happening, ...]:
    """Everything that happened in this test, first to last."""
    return tuple(sorted(_happenings(case), key=lambda h: h.at))


def _happenings(case: Case) -> Iterator[Happening]:
    plan = case.test.plan
    for r in case.revisions:
        says = "planned the test" if r.revision == 1 else f"changed the plan (revision {r.revision})"
        yield Happening(at=r.revised_at, by=r.revised_by, says=says)
    for e in case.events:
        note = f": {e.note}" if e.note else ""
        if e.kind in _TICKS:
            n = e.position or 0
            name = plan.products[n - 1].name if 1 <= n <= len(plan.products) else "?"
            yield Happening(at=e.at, by=e.by, says=f"product {n} {_TICKS[e.kind]}: {name}{note}")
        else:
            said = "mixing done, the clock starts" if e.kind == "mixed" else "stopped the test"
            yield Happening(at=e.at, by=e.by, says=f"{said}{note}")
    slots = {look.id: say_slot(look.slot, plan) for look in case.looks}
    for look in case.looks:
        yield Happening(
            at=look.received_at, by=look.by, says=f"photo kept for {slots[look.id]}{_say_taken(case, look)}"
        )
    for reading in case.readings:
        yield Happening(at=reading.at, by=reading.by, says=_say_reading(reading, slots))
    for o in case.observations:
        kind = "corrected what was seen" if o.replaces else "saw"
        yield Happening(at=o.at, by=o.by, says=f"{kind}: {say_observation(o)}")
    for v in case.verdicts:
        yield Happening(at=v.at, by="", says=f"machine's verdict: {_say_verdict(v.verdict)}")
    told = {(s.opinion_id, s.by, s.at) for s in case.signatures}  # one act, one line
    for p in case.opinions:
        if (p.id, p.by, p.at) not in told:
            yield Happening(at=p.at, by=p.by, says=f"own verdict: {p.word}{_why(p.reason)}")
    for s in case.signatures:
        aside = f". {s.set_aside}" if s.set_aside else ""
        says = f"signed {s.word}{_why(s.reason)}, on revision {s.revision} of the plan{aside}"
        yield Happening(at=s.at, by=s.by, says=says)


def _why(reason: str) -> str:
    return f" ({reason})" if reason else ""


def _say_taken(case: Case, look: Look) -> str:
    if not came_later(look):
        return ""
    local = look.taken_at.astimezone(timezone(timedelta(minutes=case.test.utc_offset_min)))
    return f", taken {local:%Y-%m-%d %H:%M}"


def _say_reading(kept: KeptReading, slots: dict[str, str]) -> str:
    word = _say_verdict(kept.verdict)
    return f"measured {slots.get(kept.look_id, '?')}, {_ORIGINS[kept.origin]}: {word}"


def _say_verdict(verdict: Verdict) -> str:
    return say_verdict(verdict.word, verdict.score, verdict.age_s)


def say_observation(o: Observation) -> str:
    """What a person saw, in one sentence."""
    said = [s.says if (s := sign(name)) else name for name in o.signs]
    if o.remix != "not tried":
        said.append(say_remix(o.remix))
    if o.screen_pour != "not tried":
        mesh = f" ({o.screen_mesh} mesh)" if o.screen_mesh else ""
        said.append(
            {"clean": "screen stays clean", "rinses off": "residue rinses off the screen"}.get(
                o.screen_pour, "residue stays on the screen"
            )
            + mesh
        )
    if o.runs != "not tried":
        said.append(f"runs {o.runs}")
    if o.bottom != "not looked":
        said.append(f"from below: {o.bottom}")
    if o.text:
        said.append(f"“{o.text}”")
    return ", ".join(said)
