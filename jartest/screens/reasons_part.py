"""Why a verdict is what it is: a bar a rule, the sentences of what is no pass, all that passes in one fold."""

from __future__ import annotations

import math
from typing import Any

import streamlit as st

from jartest.screens.parts import percent, show_reason, show_rule
from jartest.screens.web import web_text
from jartest.verdict.limits import PHOTO_RULES, Limits
from jartest.verdict.values import Reason, Verdict
from jartest.verdict.words import SHAPES

__all__ = ["bars_of", "draw_folded_reasons"]

_mount = st.components.v2.component(
    "jartest_reasons",
    html=web_text("reasons.html"),
    css=web_text("reasons.css"),
    js=web_text("reasons.js"),
)
_CALLED = {
    "settled": "Settled",
    "top_layer": "Floating",
    "clear": "Clear",
    "foam": "Foam",
    "floc_index": "Lump index",
    "floc_area": "Lumps, area",
}


def draw_folded_reasons(verdict: Verdict, limits: Limits, *, key: str, said: int = 0) -> None:
    """The bars of what is no pass, worst first; in a fold every sentence, the other bars and the rule.

    The first `said` reasons stand on the screen already and are not said again.
    """
    bars = bars_of(verdict, limits)
    bad = [b for b in bars if b["word"] != "pass"]
    if bad:
        _mount(key=f"{key}.bad", data={"bars": bad})
    with st.expander("Why: every reason, and the rule", key=f"{key}.fold"):
        for r in verdict.reasons[said:]:
            show_reason(r)
        if passing := [b for b in bars if b["word"] == "pass"]:
            _mount(key=f"{key}.passing", data={"bars": passing})
        show_rule(verdict, limits)


def bars_of(verdict: Verdict, limits: Limits) -> list[dict[str, Any]]:
    """What each bar shows, worst first: the figure, its doubt as the rule counts it, and the two limits.

    Nothing for a verdict that was made under other limits, nor for a reason without a figure.
    """
    if verdict.limits_sha256 != limits.sha256:
        return []
    return [_bar(r, limits) for r in verdict.reasons if r.rule in PHOTO_RULES and not math.isnan(r.value)]


def _bar(reason: Reason, limits: Limits) -> dict[str, Any]:
    limit = limits.photo[reason.rule]
    doubt = 0.0 if math.isnan(reason.sigma) else limits.guard_sigmas * reason.sigma
    end = max(1.5 * limit.fail_min, 1.05 * (reason.value + doubt))
    index = reason.rule == "floc_index"
    return {
        "name": _CALLED[reason.rule],
        "word": reason.leads_to or "no verdict",
        "shape": SHAPES[reason.leads_to],
        "said": f"{reason.value:.2f}" if index else percent(reason.value, reason.sigma),
        "limits": _say_limits(limit.pass_max, limit.fail_min, index=index),
        "at": reason.value / end,
        "low": max(0.0, reason.value - doubt) / end,
        "high": (reason.value + doubt) / end,
        "pass_max": limit.pass_max / end,
        "fail_min": limit.fail_min / end,
    }


def _say_limits(pass_max: float, fail_min: float, *, index: bool) -> str:
    if index:
        return f"pass to {pass_max:g}, fail from {fail_min:g}"
    return f"pass to {100 * pass_max:g} %, fail from {100 * fail_min:g} %"
