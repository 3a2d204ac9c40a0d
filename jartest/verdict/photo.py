"""The verdict of one photo: what it shows against the limits, and against what could settle."""

from __future__ import annotations

import math
from dataclasses import replace

from jartest.imaging.quality import REGISTER
from jartest.imaging.values import Reading
from jartest.plan.schedule import say_age
from jartest.plan.solids import PossibleBed
from jartest.verdict.limits import PHOTO_RULES, Limits, PhotoLimit
from jartest.verdict.score import LOWEST_WATCH, score_of
from jartest.verdict.values import Reason, Verdict, Word, verdict_of

__all__ = ["BED", "LOOSE", "MARKED", "UNSEEN", "foam_or_cream", "judge_loose", "judge_photo", "seen_score"]

LOOSE = "one photo"  # the rule that a photo of no test never passes
MARKED = "marked lumps"  # the rule of lumps that a person marked
BED = "bed"  # the rule of what settled as a share of what could
UNSEEN = "bottom unseen"  # the same, where the photo is too coarse to tell

# How each measured figure is called in a sentence.
_CALLED = {
    "settled": "settled solids",
    "top_layer": "the floating layer",
    "clear": "the cleared layer",
    "foam": "foam",
    "floc_index": "the lump index",
    "floc_area": "lumps, share of the contents covered",
}


def judge_photo(reading: Reading, limits: Limits, bed: PossibleBed | None = None) -> Verdict:
    """The verdict of one photo, with a reason for every rule that did not plainly pass.

    Parameters
    ----------
    reading : Reading
        One reading; fractions of the liquid column.
    limits : Limits
        The limits to judge under.
    bed : PossibleBed, optional
        How much of the mixture could settle; None where its recipe is not known.

    Returns
    -------
    Verdict
        `None` for a photo without a jar, a poor photo, a figure that could not be measured, or a bed that
        the photo is too coarse to tell from none.
    """
    if not reading.jar_found:
        says = (
            "No jar was found in this photo; show one whole jar, upright, from the side, and take it again."
        )
        return verdict_of([Reason(rule="no jar", says=says, leads_to=None)], limits.sha256)
    poor = [
        Reason(rule="photo", says=f"{d.says} {d.do}", leads_to=None)
        for d in REGISTER
        if d.name in reading.flags and d.blocks_pass
    ]
    seen = [_judge_value(rule, reading, limits) for rule in PHOTO_RULES if _has_meaning(rule, reading)]
    seen = [_foam_or_cream(r, reading, limits) if r.rule == "foam" else r for r in seen]
    seen = [_with_bed(r, bed) if r.rule == "settled" else r for r in seen]
    seen += _judge_bed(reading, bed, limits) if bed is not None else []
    seen += _judge_marked(reading, limits)
    seen += [
        Reason(rule="photo", says=f"{d.says} {d.do}", leads_to="watch", score=LOWEST_WATCH)
        for d in REGISTER
        if d.name in reading.flags and d.at_best_watch
    ]
    verdict = verdict_of(poor + seen, limits.sha256)
    if poor:
        return Verdict(word=None, reasons=verdict.reasons, limits_sha256=limits.sha256)
    return verdict


def judge_loose(reading: Reading, limits: Limits) -> Verdict:
    """The verdict of a photo that belongs to no test: as `judge_photo`, but never a pass.

    A pass needs what no single photo shows: how long the jar stood, that it was turned over, and how it runs.
    """
    verdict = judge_photo(reading, limits)
    if verdict.word != "pass":
        return verdict
    needs = (
        f"Even: nothing parted or lumpy to be seen. That is no verdict: a pass needs a look {say_age(limits.pass_age_s)} "
        "after mixing, the jar turned over, and how it runs. Start a test for one."
    )
    alone = Reason(rule=LOOSE, says=needs, leads_to=None)
    return verdict_of([alone, *verdict.reasons], verdict.limits_sha256)


def seen_score(verdict: Verdict) -> int | None:
    """The score of what a photo shows: its verdict's, or, where only the bottom is unseen, the worst of the rest."""
    if verdict.word is not None:
        return verdict.score
    blind = [r for r in verdict.reasons if r.leads_to is None]
    if any(r.rule != UNSEEN for r in blind):
        return None
    return min((r.score for r in verdict.reasons if r.score is not None), default=None)


def _with_bed(reason: Reason, bed: PossibleBed | None) -> Reason:
    """The reason on settled solids, with what could settle beside it."""
    if reason.leads_to is None:
        return reason
    could = "How much could settle is not known without a recipe, so the plain limits stand."
    return replace(reason, says=f"{reason.says} {could if bed is None else bed.says()}")


def _judge_bed(reading: Reading, bed: PossibleBed, limits: Limits) -> list[Reason]:
    """What settled as a share of the least that all of it would be; no word where the photo cannot tell.

    Half of it down is no pass, however thin; whether it comes up again is for turning over to say.
    """
    value, sigma = reading.settled_fraction, reading.settled_sigma_fraction
    if not bed.known or math.isnan(value):
        return []
    least = bed.low_fraction
    band = limits.guard_sigmas * sigma / least  # NaN, and so neither clear, where the doubt is not known
    share, most = value / least, limits.bed_share_max
    straight = PhotoLimit(pass_max=most, fail_min=1.0, worst=2.0, source="")
    seen = f"{100 * value:.1f} %" + ("" if math.isnan(sigma) else f" ± {100 * sigma:.1f} %")

    rule = BED
    word: Word | None = None
    if share + band < most:
        word, says = (
            "pass",
            f"Settled: {seen}, clearly less than {100 * most:.0f} % of all that could settle.",
        )
    elif share - band >= most:
        word = "watch"
        says = f"Settled: {seen}. That is {100 * most:.0f} % or more of all that could settle: it does not stay up by itself."
        if value - limits.guard_sigmas * sigma > bed.high_fraction:
            says += " It is more than all of it could make: check the floor line and the amounts."
    else:
        rule = UNSEEN
        says = (
            f"{bed.says()} This photo ({seen}) cannot tell {100 * most:.0f} % of that from none: look at the bottom from "
            "below, before the jar is turned over, and say whether it is clean, a film or a bed."
        )
    score = None if word is None else score_of(word, share + band, straight)
    return [
        Reason(rule=rule, score=score, says=says, leads_to=word, value=share, sigma=sigma / least, limit=most)
    ]


def foam_or_cream(reading: Reading, limits: Limits) -> bool:
    """Whether the photo shows foam that no person named, and more of it than would pass as cream."""
    if not reading.foam_fraction > 0 or reading.jar is None:
        return False
    if reading.marks is not None and reading.marks.foam_over(reading.jar.surface_px):
        return False
    value, doubt = _figure("foam", reading)
    band = limits.guard_sigmas * (0.0 if math.isnan(doubt) else doubt)
    return value + band > limits.photo["top_layer"].pass_max


def _foam_or_cream(reason: Reason, reading: Reading, limits: Limits) -> Reason:
    """Foam that no person named passes only as far as cream would: a photo does not tell them apart.

    The grain of 48 foams and 56 creams of the rendered pictures for fitting, looked at where they are
    known to be, ranks them no better than chance (AUC 0.50 to 0.60 by spread or middle deviation).
    """
    if reason.leads_to != "pass" or not foam_or_cream(reading, limits):
        return reason
    most = limits.photo["top_layer"].pass_max
    value, doubt = _figure("foam", reading)
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
            rule=MARKED,
            value=float(count),
            limit=limits.marked_min,
            score=limits.scores["marked_lumps"],
            says=says,
            leads_to="watch",
        )
    ]


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
        times = "the photo's doubt"
    word: Word
    if value + band <= lim.pass_max:
        word, limit = "pass", lim.pass_max
        says = f"{head}, within {_shown(rule, lim.pass_max)}{f' even with {times} counted against it' if times else ''}."
    elif value - band >= lim.fail_min:
        word, limit = "fail", lim.fail_min
        says = f"{head}, at or over {_shown(rule, lim.fail_min)}{f' even with {times} counted for it' if times else ''}."
    else:
        word, limit = "watch", lim.pass_max
        clearly = f", {times} counted both ways" if times else ""
        says = (
            f"{head}, not clearly within {_shown(rule, lim.pass_max)} "
            f"and not clearly over {_shown(rule, lim.fail_min)}{clearly}."
        )
    score = score_of(word, value + band, lim)
    return Reason(rule=rule, value=value, sigma=sigma, limit=limit, score=score, says=says, leads_to=word)
