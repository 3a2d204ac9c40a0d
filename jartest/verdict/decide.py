"""The decision on a whole test: what its looks show, and what people did and wrote.

The machine says `pass` only where everything it needs is measured and done, and lies inside the limits by
the guard band; a poor photo gives no verdict.  Reasons come worst first and say rule, value, sigma, limit
and score.  A person's own verdict is kept elsewhere, beside this one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from jartest.plan.schedule import say_age
from jartest.verdict.acts import Seen, after, bottom_too_early, judge_acts, late_enough, strained_clean
from jartest.verdict.limits import PHOTO_RULES, Limits
from jartest.verdict.photo import BED, MARKED, UNSEEN
from jartest.verdict.score import LOWEST_WATCH
from jartest.verdict.signs import sign
from jartest.verdict.values import Reason, Verdict, severity, verdict_of

__all__ = ["Step", "TestLook", "judge_test", "next_steps"]

# A separation that re-mixes is usable with constant agitation: customary three-way verdict of labels
# and bulletins, common practice, no source.
_REMIXABLE = ("settled", "top_layer", "clear", BED)
_LUMPS = ("floc_index", "floc_area")

Step = Literal["look", "bottom", "invert", "pour"]
_ORDER: tuple[Step, ...] = ("look", "bottom", "invert", "pour")  # in which they can be done


@dataclass(frozen=True, slots=True, kw_only=True)
class TestLook:
    """One look as the decision needs it: when, what the photo said, and under which name to speak of it.

    `stood_s` is how long the jar had stood since it was last turned over or poured, where that was between
    mixing and the look.
    """

    __test__ = False

    age_s: float | None
    says: str
    verdict: Verdict
    stood_s: float | None = None

    @property
    def still_s(self) -> float | None:
        """How long it had stood undisturbed, in s; None before mixing was done."""
        return self.age_s if self.stood_s is None else self.stood_s


# A reason from a photo, with the age of its look: acts count for what was seen before them.
_Pictured = tuple[Reason, float | None]


def judge_test(looks: Sequence[TestLook], seen: Seen, limits: Limits) -> Verdict:
    """The verdict of a whole test: the worst that stands after the last look, and what was done and written.

    What stands is the last look at a jar that had stood long enough, and of looks no more than
    `limits.same_s` from it the worst; a photo taken sooner after turning over adds faults and takes none
    away.  A fault of an earlier look that this one no longer shows counts as a watch; lumps that a person
    marked in any look stay.  What settled, floats or cleared is no verdict until it was turned over
    afterwards, a watch where it re-mixes fully, a fail where it does not.  Lumps fail until a clean pour
    through a strainer as fine as the sprayer's.  Gel, curds, heat and gas fail whatever the photos say.
    A pass needs a readable look at least `limits.pass_age_s` after mixing, a full re-mix and a test of how
    it runs, each late enough; its age is as far as all of them have seen.
    """
    acts = judge_acts(seen, lumps=_any_lumps(looks, seen), limits=limits)
    if not looks:
        says = "No photo has been taken yet; there is no verdict without a look."
        return verdict_of([*acts, Reason(rule="looks", says=says, leads_to=None)], limits.sha256)
    last = _last_standing(looks, limits)
    pictured = [_weighed(r, age_s, seen, limits) for r, age_s in _judge_looks(looks, last, limits)]
    age_s = _age(looks[last], seen, limits)
    time = _judge_time(looks[last], age_s, limits)
    return verdict_of([*acts, *(r for r in pictured if r is not None), time], limits.sha256, age_s=age_s)


def next_steps(verdict: Verdict) -> tuple[Step, ...]:
    """What is to be done now for a word: look, look from below, turn over, pour, in that order; nothing where there is one.

    A jar that has not stood long enough is left standing, unless something has parted in it already.
    """
    if verdict.word is not None:
        return ()
    open_ = [r for r in verdict.reasons if r.leads_to is None]
    steps = {_step_of(r) for r in open_}
    if any(r.rule == "time" for r in open_):
        parted = any(_step_of(r) == "invert" and r.rule != "re-mixing" for r in open_)
        steps &= {"look", "invert"} if parted else {"look"}
    return tuple(s for s in _ORDER if s in steps)


def _step_of(reason: Reason) -> Step:
    if reason.rule == UNSEEN:
        return "bottom"
    if reason.rule in ("re-mixing", "bottom") or reason.rule.startswith("written: "):
        return "invert"
    if reason.rule in _REMIXABLE and not math.isnan(reason.value):
        return "invert"
    return "pour" if reason.rule in ("running", "straining") else "look"


# ------------------------------------------------------------------------ looks
def _last_standing(looks: Sequence[TestLook], limits: Limits) -> int:
    """Which look stands: the last one at a jar that had stood long enough, else the last one."""
    stood = [n for n, x in enumerate(looks) if x.still_s is not None and x.still_s >= limits.pass_age_s]
    return stood[-1] if stood else len(looks) - 1


def _any_lumps(looks: Sequence[TestLook], seen: Seen) -> bool:
    """Whether a lump was read, ticked or marked anywhere."""
    ticked = any(s is not None and s.weight == "by straining" for s in map(sign, seen.signs))
    read = ("watch", "fail")
    return ticked or any(
        r.rule in (*_LUMPS, MARKED) and r.leads_to in read for x in looks for r in x.verdict.reasons
    )


def _judge_looks(looks: Sequence[TestLook], last: int, limits: Limits) -> list[_Pictured]:
    stands = looks[last]
    found = [(_placed(r, stands.says), stands.age_s) for r in stands.verdict.reasons]
    if any(r.leads_to is None and r.rule != UNSEEN for r in stands.verdict.reasons):
        says = f"The last look ({stands.says}) could not be judged; take it again."
        found.append((Reason(rule="looks", says=says, leads_to=None), stands.age_s))
    for rule in (*PHOTO_RULES, MARKED, BED):
        found += _judge_earlier(rule, looks[:last], stands, found, limits)
        found += _judge_fresh(rule, looks[last + 1 :], found)
    return found


def _worse(rule: str, look: TestLook, found: Sequence[_Pictured]) -> Iterator[Reason]:
    """What a look says by this rule that is worse than what stands."""
    stands = max((severity(r.leads_to) for r, _ in found if r.rule == rule), default=0)
    for r in look.verdict.reasons:
        if r.rule == rule and r.leads_to and severity(r.leads_to) > stands:
            yield r


def _judge_earlier(
    rule: str, looks: Sequence[TestLook], last: TestLook, found: Sequence[_Pictured], limits: Limits
) -> list[_Pictured]:
    """The worst that an earlier look says by this rule and the last one does not; of two alike the later."""
    carried = [
        x
        for look in reversed(looks)
        for r in _worse(rule, look, found)
        for x in _carried(r, look, last, limits)
    ]
    return sorted(carried, key=lambda x: -severity(x[0].leads_to))[:1]


def _judge_fresh(rule: str, looks: Sequence[TestLook], found: Sequence[_Pictured]) -> list[_Pictured]:
    """The worst that a photo taken soon after turning over shows and the last look does not."""
    worse = [
        (_placed(r, look.says), look.age_s)
        for look in looks
        if look.verdict.word is not None
        for r in _worse(rule, look, found)
    ]
    return sorted(worse, key=lambda x: -severity(x[0].leads_to))[:1]


def _carried(reason: Reason, look: TestLook, last: TestLook, limits: Limits) -> list[_Pictured]:
    """What is left of an earlier look's reason that the last look does not give."""
    apart_s = math.inf if look.age_s is None or last.age_s is None else abs(last.age_s - look.age_s)
    if apart_s <= limits.same_s and look.verdict.word is not None:
        says = (
            f"{reason.says} Seen at {look.says}, but not at {last.says}: two looks of the same time disagree, "
            "and the worse one stands; put the wrong one right by hand."
        )
        return [(replace(reason, says=says), look.age_s)]
    if reason.leads_to == "fail":
        says = f"{reason.says} Seen at {look.says}, no longer at {last.says}."
        return [(replace(reason, says=says, leads_to="watch", score=LOWEST_WATCH), None)]
    if reason.rule == MARKED:
        return [(replace(reason, says=f"At {look.says}: {reason.says}"), look.age_s)]
    return []


def _placed(reason: Reason, where: str) -> Reason:
    return replace(reason, says=f"At {where}: {reason.says}")


# ---------------------------------------------------- what acts make of a photo
def _weighed(reason: Reason, age_s: float | None, seen: Seen, limits: Limits) -> Reason | None:
    """A reason from a photo after what was done; None where it was answered by a look from below."""
    if reason.rule == UNSEEN:
        answered = seen.bottom in ("film", "bed") or (
            seen.bottom == "clean" and late_enough(seen.bottom_stood_s, limits)
        )
        if answered:
            return None
        return replace(reason, says=f"{reason.says}{bottom_too_early(seen, limits)}")
    if reason.rule in _REMIXABLE and reason.leads_to in ("watch", "fail"):
        return _turned_over(reason, age_s, seen)
    if (
        reason.rule in _LUMPS
        and reason.leads_to == "fail"
        and strained_clean(seen, limits)
        and after(seen.pour_age_s, age_s)
    ):
        return _softened(reason, "it pours clean through the strainer")
    return reason


def _turned_over(reason: Reason, age_s: float | None, seen: Seen) -> Reason:
    if seen.remix in ("partly", "not at all"):
        return reason
    if seen.remix == "fully" and after(seen.remix_age_s, age_s):
        return _softened(reason, "it re-mixed fully on inversion") if reason.leads_to == "fail" else reason
    again = "it was not turned over since" if seen.remix == "fully" else "it was not turned over yet"
    says = f"{reason.says} No verdict, as {again}: invert it first and see whether it re-mixes."
    return replace(reason, says=says, leads_to=None, score=None)


def _softened(reason: Reason, why: str) -> Reason:
    return replace(reason, says=f"{reason.says} Watch, since {why}.", leads_to="watch", score=LOWEST_WATCH)


# ------------------------------------------------------------------------- time
def _age(last: TestLook, seen: Seen, limits: Limits) -> float | None:
    """How far look, turning over, the test of running and the look from below have all seen, in s."""
    if last.still_s is None or last.age_s is None:
        return None
    done = [seen.remix_age_s] if seen.remix == "fully" else []
    if strained_clean(seen, limits):
        done.append(seen.pour_age_s)
    elif seen.runs == "like water":
        done.append(seen.runs_age_s)
    if seen.bottom == "clean" and any(r.rule == UNSEEN for r in last.verdict.reasons):
        done.append(seen.bottom_age_s)
    short = [x for x in done if x is not None and x < last.age_s - limits.same_s]
    return max(0.0, min([last.still_s, *short]))


def _judge_time(last: TestLook, age_s: float | None, limits: Limits) -> Reason:
    still = last.still_s
    if still is None or still < limits.pass_age_s:
        at = "before mixing was done" if still is None else f"{say_age(last.age_s or 0.0)} after mixing"
        if last.stood_s is not None:
            at = f"{say_age(last.stood_s)} after the jar was turned over or poured"
        says = f"The last look was {at}; a pass needs one at {say_age(limits.pass_age_s)} or later."
        value = math.nan if still is None else still
        return Reason(rule="time", value=value, limit=limits.pass_age_s, says=says, leads_to=None)
    says = f"Watched standing for {say_age(still)}."
    if age_s is not None and age_s < still:
        says += f" The verdict holds to {say_age(age_s)}: the checks by hand were done no later."
    value = still if age_s is None else age_s
    return Reason(rule="time", value=value, limit=limits.pass_age_s, score=100, says=says, leads_to="pass")
