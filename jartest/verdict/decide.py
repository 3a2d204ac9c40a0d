"""The decision: one photo, and a whole test.

The machine says `pass` only where everything it needs is measured and lies inside the limits by the
guard band; a poor photo gives no verdict.  Reasons come worst first and say rule, value, sigma and
limit.  A person's own verdict is kept elsewhere, beside this one.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from jartest.imaging.quality import REGISTER
from jartest.imaging.values import Reading
from jartest.plan.schedule import say_age
from jartest.verdict.limits import PHOTO_RULES, Limits
from jartest.verdict.score import LOWEST_WATCH, score_of
from jartest.verdict.signs import sign
from jartest.verdict.values import Reason, Verdict, Word, worst_score

__all__ = ["Seen", "TestLook", "judge_photo", "judge_test", "worst"]

_SEVERITY: dict[Word | None, int] = {"pass": 0, "watch": 1, None: 2, "fail": 3}

_MARKED = "marked lumps"

# How each measured figure is called in a sentence.
_CALLED = {
    "settled": "settled solids",
    "top_layer": "the floating layer",
    "clear": "the cleared layer",
    "foam": "foam",
    "floc_index": "the lump index",
    "floc_area": "lumps, share of the contents covered",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TestLook:
    """One look as the decision needs it: when, what the photo said, and under which name to speak of it."""

    __test__ = False

    age_s: float | None
    says: str
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What people wrote about the test: all signs ticked, and the last word on re-mixing and pouring."""

    signs: Collection[str] = ()
    remix: str = "not tried"
    screen_pour: str = "not tried"
    screen_mesh: int | None = None


def worst(words: Collection[Word | None]) -> Word | None:
    """The worst of some words: fail, then no verdict, then watch, then pass.

    Raises
    ------
    ValueError
        If there are none.
    """
    return max(words, key=lambda w: _SEVERITY[w])


def judge_photo(reading: Reading, limits: Limits) -> Verdict:
    """The verdict of one photo, with a reason for every rule that did not plainly pass.

    Parameters
    ----------
    reading : Reading
        One reading; fractions of the liquid column.
    limits : Limits
        The limits to judge under.

    Returns
    -------
    Verdict
        `None` for a photo without a jar, a poor photo, or a figure that could not be measured.
    """
    if not reading.jar_found:
        says = (
            "No jar was found in this photo; show one whole jar, upright, from the side, and take it again."
        )
        return _verdict([Reason(rule="no jar", says=says, leads_to=None)], limits)
    poor = [
        Reason(rule="photo", says=f"{d.says} {d.do}", leads_to=None)
        for d in REGISTER
        if d.name in reading.flags and d.blocks_pass
    ]
    seen = [_judge_value(rule, reading, limits) for rule in PHOTO_RULES if _has_meaning(rule, reading)]
    seen = [_foam_or_cream(r, reading, limits) if r.rule == "foam" else r for r in seen]
    seen += _judge_marked(reading, limits)
    seen += [
        Reason(rule="photo", says=f"{d.says} {d.do}", leads_to="watch", score=LOWEST_WATCH)
        for d in REGISTER
        if d.name in reading.flags and d.at_best_watch
    ]
    verdict = _verdict(poor + seen, limits)
    if poor:
        return Verdict(word=None, reasons=verdict.reasons, limits_sha256=limits.sha256)
    return verdict


def _foam_or_cream(reason: Reason, reading: Reading, limits: Limits) -> Reason:
    """Foam that no person named passes only as far as cream would: a photo does not tell them apart.

    The grain of 48 foams and 56 creams of the rendered pictures for fitting, looked at where they are
    known to be, ranks them no better than chance (AUC 0.50 to 0.60 by spread or middle deviation).
    """
    if reason.leads_to != "pass" or not reading.foam_fraction > 0:
        return reason
    if (
        reading.marks is not None
        and reading.jar is not None
        and reading.marks.foam_over(reading.jar.surface_px)
    ):
        return reason
    most = limits.photo["top_layer"].pass_max
    value, doubt = _figure("foam", reading)
    if value + limits.guard_sigmas * (0.0 if math.isnan(doubt) else doubt) <= most:
        return reason
    says = (
        f"Foam or a floating layer: {_shown('foam', value)}. A photo does not tell them apart, and a floating layer "
        f"passes up to {_shown('foam', most)}. Look for bubbles; if it is foam, call that layer foam."
    )
    score = score_of(
        "watch",
        value + limits.guard_sigmas * (0.0 if math.isnan(doubt) else doubt),
        replace(limits.photo["foam"], pass_max=most),
    )
    return replace(reason, limit=most, says=says, leads_to="watch", score=score)


def _judge_marked(reading: Reading, limits: Limits) -> list[Reason]:
    """Lumps that a person saw weigh as if ticked: enough of them are no pass; see limits.toml."""
    count = 0 if reading.marks is None else len(reading.marks.lumps)
    if count < limits.marked_min:
        return []
    lumps = "1 lump" if count == 1 else f"{count} lumps"
    says = f"{lumps} marked by hand that the reading missed: no pass; try whether the jar re-mixes."
    return [
        Reason(
            rule=_MARKED,
            value=float(count),
            limit=limits.marked_min,
            score=limits.scores["marked_lumps"],
            says=says,
            leads_to="watch",
        )
    ]


def _verdict(reasons: Sequence[Reason], limits: Limits) -> Verdict:
    order = sorted(reasons, key=lambda r: (-_SEVERITY[r.leads_to], -1 if r.score is None else r.score))
    word = worst([r.leads_to for r in order])
    return Verdict(
        word=word, score=worst_score(word, order), reasons=tuple(order), limits_sha256=limits.sha256
    )


def _has_meaning(rule: str, reading: Reading) -> bool:
    """Single lumps are told only in what can be seen into; elsewhere the lump index speaks alone."""
    return rule != "floc_area" or not math.isnan(reading.floc_area_fraction)


def _figure(rule: str, reading: Reading) -> tuple[float, float]:
    if rule == "floc_index":
        return reading.floc_index, 0.0
    if rule == "floc_area":
        return reading.floc_area_fraction, 0.0
    return getattr(reading, f"{rule}_fraction"), getattr(reading, f"{rule}_sigma_fraction")


def _shown(rule: str, x: float) -> str:
    return f"{x:.2f}" if rule == "floc_index" else f"{100 * x:.1f} %"


def _judge_value(rule: str, reading: Reading, limits: Limits) -> Reason:
    value, sigma = _figure(rule, reading)
    lim = limits.photo[rule]
    called = _CALLED[rule]
    if math.isnan(value):
        says = f"{called[0].upper()}{called[1:]} could not be measured in this photo; set the lines or take it again."
        return Reason(rule=rule, value=value, sigma=sigma, limit=lim.pass_max, says=says, leads_to=None)
    doubt = 0.0 if math.isnan(sigma) else sigma
    band = limits.guard_sigmas * doubt
    head = f"{called[0].upper()}{called[1:]}: {_shown(rule, value)}"
    times = ""
    if doubt:
        head += f" ± {_shown(rule, doubt)}"
        times = f"{limits.guard_sigmas:.2g} times that doubt"
    word: Word
    if value + band <= lim.pass_max:
        word, limit = "pass", lim.pass_max
        says = f"{head}, within {_shown(rule, lim.pass_max)}{f' even with {times} added' if times else ''}."
    elif value - band >= lim.fail_min:
        word, limit = "fail", lim.fail_min
        says = f"{head}, at or over {_shown(rule, lim.fail_min)}{f' even with {times} taken off' if times else ''}."
    else:
        word, limit = "watch", lim.pass_max
        clearly = f", {times} counted either way" if times else ""
        says = (
            f"{head}, not clearly within {_shown(rule, lim.pass_max)} "
            f"and not clearly over {_shown(rule, lim.fail_min)}{clearly}."
        )
    score = score_of(word, value + band, lim)
    return Reason(rule=rule, value=value, sigma=sigma, limit=limit, score=score, says=says, leads_to=word)


def judge_test(looks: Sequence[TestLook], seen: Seen, limits: Limits) -> Verdict:
    """The verdict of a whole test: the worst that stands after the last look, and what was written.

    What stands is the last look, and of looks no more than `limits.same_s` from it the worst.  A fault of
    an earlier look that the last one no longer shows counts as a watch; lumps that a person marked in any
    look stay a watch.  Re-mixing on inversion turns settled, floating, cleared and lumpy into a watch; not
    re-mixing fails.  Gel, curds, heat and gas fail whatever the photos say.  A pass needs a readable
    last look at least `limits.pass_age_s` after mixing.
    """
    written = _judge_written(seen, limits)
    pictured = _judge_looks(looks, limits)
    if seen.remix == "fully":
        pictured = [_softened(r, "it re-mixed fully on inversion") for r in pictured]
    return _verdict(written + pictured, limits)


# A separation that re-mixes is usable with constant agitation: customary three-way verdict of labels
# and bulletins, common practice, no source.
_REMIXABLE = ("settled", "top_layer", "clear", "floc_index", "floc_area")


def _softened(reason: Reason, why: str) -> Reason:
    if reason.leads_to != "fail" or reason.rule not in _REMIXABLE:
        return reason
    return replace(reason, says=f"{reason.says} Watch, since {why}.", leads_to="watch", score=LOWEST_WATCH)


def _judge_looks(looks: Sequence[TestLook], limits: Limits) -> list[Reason]:
    if not looks:
        says = "No photo has been taken yet; there is no verdict without a look."
        return [Reason(rule="looks", says=says, leads_to=None)]
    last = looks[-1]
    reasons = [_placed(r, last.says) for r in last.verdict.reasons]
    if last.verdict.word is None:
        says = f"The last look ({last.says}) could not be judged; take it again."
        reasons.append(Reason(rule="looks", says=says, leads_to=None))
    reasons += [r for rule in (*PHOTO_RULES, _MARKED) for r in _judge_earlier(rule, looks, reasons, limits)]
    age = last.age_s
    if age is None or age < limits.pass_age_s:
        at = "before mixing was done" if age is None else f"{say_age(age)} after mixing"
        says = f"The last look was {at}; a pass needs one at {say_age(limits.pass_age_s)} or later."
        value = math.nan if age is None else age
        reasons.append(Reason(rule="time", value=value, limit=limits.pass_age_s, says=says, leads_to=None))
    return reasons


def _judge_earlier(
    rule: str, looks: Sequence[TestLook], now: Sequence[Reason], limits: Limits
) -> list[Reason]:
    """The worst that an earlier look says by this rule and the last one does not; of two alike the later."""
    last = looks[-1]
    stands = max((_SEVERITY[r.leads_to] for r in now if r.rule == rule), default=0)
    found = []
    for look in reversed(looks[:-1]):
        worse = [
            r
            for r in look.verdict.reasons
            if r.rule == rule and r.leads_to and _SEVERITY[r.leads_to] > stands
        ]
        found += [x for r in worse for x in _carried(r, look, last, limits)]
    return sorted(found, key=lambda r: -_SEVERITY[r.leads_to])[:1]


def _carried(reason: Reason, look: TestLook, last: TestLook, limits: Limits) -> list[Reason]:
    """What is left of an earlier look's reason that the last look does not give."""
    apart_s = math.inf if look.age_s is None or last.age_s is None else abs(last.age_s - look.age_s)
    if apart_s <= limits.same_s and look.verdict.word is not None:
        says = (
            f"{reason.says} Seen at {look.says}, but not at {last.says}: two looks of the same time disagree, "
            "and the worse one stands; put the wrong one right by hand."
        )
        return [replace(reason, says=says)]
    if reason.leads_to == "fail":
        says = f"{reason.says} Seen at {look.says}, no longer at {last.says}."
        return [replace(reason, says=says, leads_to="watch", score=LOWEST_WATCH)]
    if reason.rule == _MARKED:
        return [replace(reason, says=f"At {look.says}: {reason.says}")]
    return []


def _placed(reason: Reason, where: str) -> Reason:
    return replace(reason, says=f"At {where}: {reason.says}")


def _judge_written(seen: Seen, limits: Limits) -> list[Reason]:
    reasons = [r for name in seen.signs for r in _judge_sign(name, seen.remix)]
    if seen.remix in ("partly", "not at all"):
        says = f"Re-mixes {seen.remix} on inversion: what stays behind would stay in the tank."
        score = limits.scores["remix_partly" if seen.remix == "partly" else "remix_not_at_all"]
        reasons.append(Reason(rule="re-mixing", score=score, says=says, leads_to="fail"))
    elif seen.remix == "fully":
        score = limits.scores["remix_fully"]
        says = "Re-mixes fully on inversion."
        reasons.append(Reason(rule="re-mixing", score=score, says=says, leads_to="pass"))
    if seen.screen_pour in _POURED:
        word, says, score_name = _POURED[seen.screen_pour]
        mesh = "" if seen.screen_mesh is None else f" ({seen.screen_mesh} mesh)"
        says = says.format(mesh=mesh)
        reasons.append(Reason(rule="screen", score=limits.scores[score_name], says=says, leads_to=word))
    return reasons


_POURED: dict[str, tuple[Word, str, str]] = {
    # ASTM E1518, second hand: not compatible
    "stays on": ("fail", "Residue stays on the screen{mesh} after rinsing.", "pour_stays_on"),
    "rinses off": ("watch", "Residue on the screen{mesh} rinses off.", "pour_rinses_off"),
    "clean": ("pass", "The screen{mesh} stays clean.", "pour_clean"),
}


def _judge_sign(name: str, remix: str) -> list[Reason]:
    s = sign(name)
    if s is None or s.weight == "good":
        return []
    word: Word = "watch"
    score, tail = s.score, "."
    if s.weight == "fails":
        word, tail = "fail", ": fails whatever the photo says."
    elif s.weight == "by re-mixing":
        if remix in ("partly", "not at all"):
            word, score, tail = "fail", s.score_failed, f", and it re-mixes {remix}."
        else:
            tail = (
                ", but it re-mixes fully." if remix == "fully" else "; try whether it re-mixes on inversion."
            )
    says = f"Written: {s.says.lower()}{tail}"
    return [Reason(rule=f"written: {name}", score=score, says=says, leads_to=word)]
