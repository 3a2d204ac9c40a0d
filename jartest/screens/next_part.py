"""What is to be done next for a verdict, each answer one tap: from below, turned over, poured, run."""

from __future__ import annotations

from typing import Any

import streamlit as st

from jartest.plan.strainers import finest_mesh
from jartest.recorder import Recorder
from jartest.records.model import Case
from jartest.screens import state
from jartest.screens.parts import error_box, plain
from jartest.screens.who import name
from jartest.screens.words import MESHES, STEPS
from jartest.verdict.acts import may_just_run
from jartest.verdict.decide import Step, next_steps
from jartest.verdict.values import Verdict

__all__ = ["draw_next"]

_ANSWERS: dict[Step, tuple[str, tuple[tuple[str, str], ...]]] = {
    "bottom": ("bottom", (("Bottom clean", "clean"), ("A film", "film"), ("A bed", "bed"))),
    "invert": (
        "remix",
        (("Re-mixes fully", "fully"), ("Re-mixes partly", "partly"), ("Does not re-mix", "not at all")),
    ),
}


def draw_next(recorder: Recorder, case: Case) -> None:
    """The steps still open, in their order, with one tap for each answer."""
    if case.signed or case.mixed_at is None or not case.verdicts:
        return
    if any(e.kind == "stopped" for e in case.events):
        return
    verdict = case.verdicts[-1].verdict
    steps = next_steps(verdict)
    if not steps:
        return
    # One step at a time: a jar that was turned over can no longer be looked at from below.  Where a photo is to
    # be taken again, what the jar has shown already can be tried beside it.
    now, later = (steps[:2], steps[2:]) if steps[0] == "look" else (steps[:1], steps[1:])
    with st.container(key="next-step", gap="small"):
        for n, step in enumerate(now):
            head, hint = STEPS[step]
            st.markdown(f"**{'Or' if n else 'Next'}: {head}**")
            st.markdown(_why_look(verdict) if step == "look" else hint)
            if step in _ANSWERS:
                field, answers = _ANSWERS[step]
                _taps(recorder, case, [(label, {field: value}) for label, value in answers])
            elif step == "pour":
                _pour(recorder, case, verdict)
        if later:
            st.caption(f"Then: {', '.join(STEPS[s][0].removesuffix(' first') for s in later)}.")


def _why_look(verdict: Verdict) -> str:
    """Why there must be another look, in the words of the reasons."""
    said = [r.says for r in verdict.reasons if r.leads_to is None and r.rule in ("time", "looks", "photo")]
    return "\n".join(f"- {plain(x)}" for x in dict.fromkeys(said)) or STEPS["look"][1]


def _taps(
    recorder: Recorder, case: Case, answers: list[tuple[str, dict[str, Any]]], *, off: bool = False
) -> None:
    """Buttons beside one another, each of which keeps what it says."""
    with st.container(horizontal=True, gap="small"):
        for label, said in answers:
            key = state.key("next", case.test.id, *said.keys(), *said.values())
            if st.button(label, key=key, disabled=off, wrap=True):
                with error_box():
                    recorder.observe(case.test.id, by=name(), **said)
                    st.rerun()


def _pour(recorder: Recorder, case: Case, verdict: Verdict) -> None:
    fine, told = finest_mesh(recorder.limits.strainers)
    whose = "your sprayer's finest" if told else "usual at the nozzle; tell your own in limits.toml"
    mesh = st.selectbox(
        f"Mesh of the strainer ({fine} or finer counts: {whose})",
        MESHES,
        index=None,
        key=state.key("next", case.test.id, "mesh"),
        placeholder="which strainer?",
        width=320,
    )
    poured = (
        ("Strainer clean", "clean"),
        ("Residue rinses off", "rinses off"),
        ("Residue stays on", "stays on"),
    )
    answers = [(label, {"screen_pour": value, "screen_mesh": mesh}) for label, value in poured]
    _taps(recorder, case, answers, off=mesh is None)
    runs = [("Runs thick or in strings", {"runs": "thick"})]
    if may_just_run(verdict):
        st.markdown("Or, without a strainer, tilt the jar and let it run:")
        runs.insert(0, ("Runs like water, no gel", {"runs": "like water"}))
    _taps(recorder, case, runs)
