"""What people did and saw, and what it leads to: turning over, pouring, looking from below, signs.

Each thing that a pass needs and that was not done, or was done too early, is a reason that forbids any word
but a fail: a gel, a film or a cake cannot be seen in a still photo.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field

from jartest.plan.schedule import say_age
from jartest.plan.strainers import finest_mesh
from jartest.verdict.limits import Limits
from jartest.verdict.signs import Sign, sign
from jartest.verdict.values import Reason, Verdict, Word
from jartest.verdict.words import say_remix

__all__ = ["Seen", "after", "bottom_too_early", "judge_acts", "late_enough", "may_just_run", "strained_clean"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """What people wrote about the test: all signs ticked, and what counts of each thing that was done.

    Ages are s after mixing, `bottom_stood_s` s since the jar was last turned over; None where not known,
    which counts as late enough.  `sign_ages` is when each sign was last ticked.
    """

    signs: Collection[str] = ()
    sign_ages: Mapping[str, float] = field(default_factory=dict)
    remix: str = "not tried"
    remix_age_s: float | None = None
    screen_pour: str = "not tried"
    screen_mesh: int | None = None
    pour_age_s: float | None = None
    runs: str = "not tried"
    runs_age_s: float | None = None
    bottom: str = "not looked"
    bottom_age_s: float | None = None
    bottom_stood_s: float | None = None


def after(act_age_s: float | None, seen_age_s: float | None) -> bool:
    """Whether something was done after something was seen; as long as an age is not known, it was."""
    return act_age_s is None or seen_age_s is None or act_age_s >= seen_age_s


def late_enough(age_s: float | None, limits: Limits) -> bool:
    """Whether an act of this age counts towards a pass: done once the jar could have stood long enough."""
    return age_s is None or age_s >= limits.pass_age_s - limits.same_s


def strained_clean(seen: Seen, limits: Limits) -> bool:
    """Whether it poured clean through a strainer at least as fine as the finest in the sprayer, late enough."""
    fine = seen.screen_mesh is not None and seen.screen_mesh >= finest_mesh(limits.strainers)[0]
    return seen.screen_pour == "clean" and fine and late_enough(seen.pour_age_s, limits)


def judge_acts(seen: Seen, *, lumps: bool, limits: Limits) -> list[Reason]:
    """A reason for each thing done, each sign, and each thing still to do; `lumps` tells whether any were seen."""
    return [
        *(r for name in seen.signs for r in _judge_sign(name, seen, limits)),
        *_judge_bottom(seen, limits),
        _judge_remix(seen, limits),
        *_judge_pour(seen, limits),
        *_judge_running(seen, lumps=lumps, limits=limits),
    ]


def _judge_remix(seen: Seen, limits: Limits) -> Reason:
    def reason(says: str, word: Word | None, score: str = "") -> Reason:
        return Reason(rule="re-mixing", score=limits.scores.get(score), says=says, leads_to=word)

    if seen.remix in ("partly", "not at all"):
        said = say_remix(seen.remix)
        says = f"{said[0].upper()}{said[1:]} on inversion: what stays behind would stay in the tank."
        return reason(says, "fail", "remix_partly" if seen.remix == "partly" else "remix_not_at_all")
    if seen.remix != "fully":
        return reason("Not turned over yet: invert it first, ten times, and see whether it re-mixes.", None)
    if not late_enough(seen.remix_age_s, limits):
        return reason(_too_early("turned over", seen.remix_age_s, limits), None)
    return reason("Re-mixes fully on inversion.", "pass", "remix_fully")


def _too_early(done: str, age_s: float | None, limits: Limits) -> str:
    return (
        f"It was {done} {say_age(max(age_s or 0.0, 0.0))} after mixing; for a pass do it again once it has stood "
        f"{say_age(limits.pass_age_s)}."
    )


def _mesh(seen: Seen) -> str:
    return "" if seen.screen_mesh is None else f" ({seen.screen_mesh} mesh)"


def _judge_pour(seen: Seen, limits: Limits) -> list[Reason]:
    """What the strainer showed; a clean pour that does not count says why, and counts for nothing."""
    if seen.screen_pour == "stays on":  # ASTM E1518, second hand: not compatible
        says = f"Residue stays on the screen{_mesh(seen)} after rinsing."
        return [Reason(rule="screen", score=limits.scores["pour_stays_on"], says=says, leads_to="fail")]
    if seen.screen_pour == "rinses off":
        says = f"Residue on the screen{_mesh(seen)} rinses off."
        return [Reason(rule="screen", score=limits.scores["pour_rinses_off"], says=says, leads_to="watch")]
    if strained_clean(seen, limits):
        says = f"The screen{_mesh(seen)} stays clean."
        return [Reason(rule="screen", score=limits.scores["pour_clean"], says=says, leads_to="pass")]
    return []


def _judge_running(seen: Seen, *, lumps: bool, limits: Limits) -> list[Reason]:
    """How it runs: by the strainer, or by the word of somebody where no lump was seen; else what is to be done."""
    if seen.runs == "thick":
        says = "Runs thick or in strings: a gel, whatever the photo says."
        return [Reason(rule="running", score=limits.scores["runs_thick"], says=says, leads_to="fail")]
    fine, told = finest_mesh(limits.strainers)
    if strained_clean(seen, limits) or _residue_told(seen, fine, limits):
        return []
    ran = seen.runs == "like water"
    if ran and late_enough(seen.runs_age_s, limits) and not lumps and not limits.pour_always:
        says = "Runs like water, no gel; not strained."
        return [Reason(rule="running", score=limits.scores["runs_like_water"], says=says, leads_to="pass")]
    through = (
        f"{fine} mesh or finer" if told else f"{fine} mesh or finer (your sprayer's own mesh is not entered)"
    )
    says = f"{_why_not_strained(seen, fine, limits)} Pour it through a strainer of {through}"
    if lumps:
        says += ", as lumps were seen."
    elif limits.pour_always:
        says += ", as this shop always does."
    elif ran:
        says += f", or say that it runs like water once it has stood {say_age(limits.pass_age_s)}."
    else:
        says += ", or say that it runs like water, no gel."
    rule = "straining" if lumps or limits.pour_always else "running"
    return [Reason(rule=rule, says=says, leads_to=None)]


def may_just_run(verdict: Verdict) -> bool:
    """Whether the word that it runs like water would do in the place of the pour that this verdict asks for."""
    return any(r.rule == "running" and r.leads_to is None for r in verdict.reasons)


def _residue_told(seen: Seen, fine: int, limits: Limits) -> bool:
    """Whether the pour told all: residue stayed, or a pour fine and late enough left some that rinsed off."""
    through = seen.screen_mesh is not None and seen.screen_mesh >= fine
    rinsed = seen.screen_pour == "rinses off" and through and late_enough(seen.pour_age_s, limits)
    return rinsed or seen.screen_pour == "stays on"


def _why_not_strained(seen: Seen, fine: int, limits: Limits) -> str:
    if seen.screen_pour == "not tried":
        return "Nobody saw how it runs."
    if seen.screen_mesh is None:
        return "It was poured through a strainer of unknown mesh, which does not count."
    if seen.screen_mesh < fine:
        return f"It was poured through {seen.screen_mesh} mesh, coarser than {fine}, which does not count."
    return _too_early("poured", seen.pour_age_s, limits)


_BOTTOM: dict[str, tuple[Word, str]] = {
    "film": ("watch", "Seen from below: a film on the bottom, so something came down."),
    "bed": ("watch", "Seen from below: a bed on the bottom, so it does not stay up by itself."),
}


def bottom_too_early(seen: Seen, limits: Limits) -> str:
    """Why a bottom seen clean does not count, as the end of a sentence; nothing where it does or none was seen."""
    if seen.bottom != "clean" or late_enough(seen.bottom_stood_s, limits):
        return ""
    stood = max(seen.bottom_stood_s or 0.0, 0.0)
    return (
        f" It was seen clean from below after standing {say_age(stood)}, too early to count: look again once it has "
        f"stood {say_age(limits.pass_age_s)}."
    )


def _judge_bottom(seen: Seen, limits: Limits) -> list[Reason]:
    if seen.bottom in _BOTTOM:
        word, says = _BOTTOM[seen.bottom]
        covered = seen.remix == "fully" and after(seen.remix_age_s, seen.bottom_age_s)
        if not covered and seen.remix not in ("partly", "not at all"):
            return [
                Reason(rule="bottom", says=f"{says} Invert it first: does it come up again?", leads_to=None)
            ]
        return [Reason(rule="bottom", score=limits.scores[f"bottom_{seen.bottom}"], says=says, leads_to=word)]
    if seen.bottom == "clean" and late_enough(seen.bottom_stood_s, limits):
        says = "Seen from below: the bottom is clean."
        return [Reason(rule="bottom", score=limits.scores["bottom_clean"], says=says, leads_to="pass")]
    return []


def _judge_sign(name: str, seen: Seen, limits: Limits) -> list[Reason]:
    s = sign(name)
    if s is None or s.weight == "good":
        return []
    word, score, tail = _weigh(s, seen, limits)
    says = f"Written: {s.says.lower()}{tail}"
    return [Reason(rule=f"written: {name}", score=score, says=says, leads_to=word)]


def _weigh(s: Sign, seen: Seen, limits: Limits) -> tuple[Word | None, int | None, str]:
    """The word, the score and the end of the sentence of a sign, by what was done after it was ticked."""
    ticked = seen.sign_ages.get(s.name)
    if s.weight == "fails":
        return "fail", s.score, ": fails whatever the photo says."
    if s.weight == "by straining":
        if strained_clean(seen, limits) and after(seen.pour_age_s, ticked):
            return "watch", s.score, ", but it pours clean through the strainer."
        return (
            "fail",
            s.score_failed,
            ": fails until it pours clean through a strainer as fine as the sprayer's.",
        )
    if s.weight == "by re-mixing":
        if seen.remix in ("partly", "not at all"):
            return "fail", s.score_failed, f", and it {say_remix(seen.remix)}."
        if seen.remix == "fully" and after(seen.remix_age_s, ticked):
            return "watch", s.score, ", but it re-mixes fully."
        return None, None, "; invert it first and see whether it re-mixes."
    return "watch", s.score, "."
