"""Test: the jar at the bench, from the first product to the signature."""

from __future__ import annotations

from contextlib import suppress

import streamlit as st

from jartest.errors import BadEntry, Conflict
from jartest.jars import offered_jars
from jartest.plan.schedule import next_look
from jartest.recorder import Recorder, RunningTest, say_slot
from jartest.records.model import Case, Product
from jartest.screens import plan_form, recipe_form, state
from jartest.screens.camera_part import draw_camera_choice
from jartest.screens.card_offer_part import draw_card_offer
from jartest.screens.countdown import countdown
from jartest.screens.curve_part import draw_curve
from jartest.screens.look_part import choose_slot, draw_looks, take_photo
from jartest.screens.mixing_part import draw_mixing, draw_next_addition, draw_what_was_done
from jartest.screens.next_part import draw_next
from jartest.screens.observe_part import draw_observations
from jartest.screens.opinion_ask import draw_second_opinions
from jartest.screens.paper_part import draw_paper
from jartest.screens.parts import (
    clock,
    error_box,
    link_to,
    one_line,
    plain,
    say_product,
)
from jartest.screens.phone_part import draw_phone
from jartest.screens.stages import Stage, stage_of, stopped
from jartest.screens.timeline import timeline
from jartest.screens.verdict_part import draw_decision, draw_reasons, draw_result
from jartest.screens.who import ask_name, name, say_who
from jartest.tank import new_on_shelf
from jartest.units import say_temperature, say_volume
from jartest.verdict.words import say_verdict

__all__ = ["render"]

_POLL_S = 10  # how soon this window shows what another one did


def render(recorder: Recorder) -> None:
    """Draw the test that the address names."""
    test_id = str(st.query_params.get("id", ""))
    if not test_id:
        st.markdown("## Which test?")
        link_to("bench", "What is on the bench")
        link_to("tests", "All tests")
        return
    with error_box() as box:
        case = recorder.case(test_id)
    if box.error:
        link_to("tests", "All tests")
        return
    standing = recorder.standing(case)
    stage = stage_of(case, standing)
    with st.container(key="asked"):  # what lies below keeps its place, and so its open presses
        ask_name(recorder, said=False)
    _head(case)
    jar, hands = st.columns([3, 2], gap="large")
    with jar:
        _draw_jar_side(recorder, case, standing, stage)
    with hands:
        _draw_due(recorder, case, standing, stage)
        _draw_hands_side(recorder, case, standing, stage)
    with st.expander("This test: plan, phone, paper, history", key=state.key("about", case.test.id)):
        if not case.signed and not stopped(case):
            draw_phone(case.test)
            draw_camera_choice(case.test)
        _plan(recorder, case)
        draw_paper(recorder, case)
        _history(case)
    say_who()


def _draw_jar_side(recorder: Recorder, case: Case, standing: RunningTest, stage: Stage) -> None:
    """What is seen: the clock, the result, the jar, and the jar over time; while mixing what goes in."""
    _watch(recorder, case.test.id, _version(case, standing))
    draw_result(recorder, case)
    if stage == "mix":
        draw_mixing(recorder, case, standing)
    draw_looks(recorder, case)
    draw_curve(recorder, case)


def _draw_due(recorder: Recorder, case: Case, standing: RunningTest, stage: Stage) -> None:
    """The one act that is due, always in reach: on a phone this stays at the bottom of the screen."""
    if case.signed:
        return
    with st.container(key=f"due-{stage}", gap="small"):
        if stage == "mix":
            draw_next_addition(recorder, case, standing)
        elif stage == "say":
            draw_next(recorder, case)
        elif stage == "decide":
            draw_decision(recorder, case)
        take_photo(recorder, case, standing, main=stage == "look")


def _draw_hands_side(recorder: Recorder, case: Case, standing: RunningTest, stage: Stage) -> None:
    """What people did, saw and say; what is not due in folds."""
    # Containers, so that each part keeps its place whatever stands above it: Streamlit drops a press on a part
    # that moved meanwhile (1.67.0, seen).
    first, seen, done = st.container(), st.container(), st.container()
    with first:
        if case.signed:
            draw_decision(recorder, case)
            draw_card_offer(recorder, case)
        if stage != "say":
            draw_next(recorder, case)
        draw_reasons(recorder, case)
    with seen:
        draw_observations(recorder, case)
    with done:
        draw_what_was_done(recorder, case)
        if case.signed:
            with st.expander("A later look: photos may still be added after signing"):
                take_photo(recorder, case, standing, main=True)
                choose_slot(case, standing)
        else:
            choose_slot(case, standing)
        if stage in ("mix", "look", "say"):
            with st.expander("Decide before it is due", key=state.key("decide-fold", case.test.id)):
                draw_decision(recorder, case)
    st.caption("Physical mixing only: nothing here speaks of efficacy or crop safety. Try a small plot.")
    draw_second_opinions(recorder, case)


def _head(case: Case) -> None:
    test = case.test
    said = [clock(test.opened_at, test), f"by {plain(test.opened_by)}"]
    if test.sample:
        said.append("**sample, invented**")
    if case.signature:
        said.append(f"**signed by {plain(case.signature.by)}**")
    elif stopped(case):
        said.append("**stopped**")
    st.markdown(f"## {test.number} · {plain(test.plan.title)}")
    st.caption(" · ".join(said))


# -------------------------------------------------------------------------- now
Version = tuple[object, ...]


def _version(case: Case, standing: RunningTest) -> Version:
    """What changes when anybody does anything in this test, or a look falls due."""
    counts = (
        case.test.revision,
        *(len(x) for x in (case.events, case.looks, case.readings, case.observations, case.verdicts)),
        *(len(x) for x in (case.opinions, case.signatures, case.second_opinions)),
    )
    return (*counts, *(d.state for d in standing.due))


@st.fragment(run_every=_POLL_S)
def _watch(recorder: Recorder, test_id: str, version: Version) -> None:
    """The countdown; and when another window did something, the whole screen again."""
    with error_box():
        case = recorder.case(test_id)
        standing = recorder.standing(case)
        if _version(case, standing) != version:
            st.rerun(scope="app")
        plan = case.test.plan
        upcoming = next_look(standing.due)
        if upcoming is not None and upcoming.due_at is not None:
            countdown(
                f"{say_slot(upcoming.slot.key, plan)} look",
                due_at=upcoming.due_at,
                now=recorder.now(),
                late=upcoming.state == "late",
                offer_sound=True,
                key=state.key("test", test_id, "count"),
            )


# ------------------------------------------------------------------- plan, past
def _plan(recorder: Recorder, case: Case) -> None:
    test = case.test
    form = f"plan-{test.id}"
    with st.expander(
        "The plan: products, water, jar", expanded=state.get(state.key(form, "revision")) is not None
    ):
        water, jar = test.plan.water, test.plan.jar
        st.markdown(
            "\n".join(_say_line(n, p) for n, p in enumerate(test.plan.products, start=1)) or "No products."
        )
        said = [plain(one_line(water.source)) or "water not described"]
        if water.hardness_mg_l is not None:
            said.append(f"{water.hardness_mg_l:.0f} mg/L hardness")
        if water.ph is not None:
            said.append(f"pH {water.ph:.1f}")
        if water.temperature_c is not None:
            said.append(say_temperature(water.temperature_c))
        inside = "" if jar.inner_diameter_mm is None else f", {jar.inner_diameter_mm:g} mm wide inside"
        st.markdown(f"Water: {', '.join(said)}. Jar: {plain(jar.name)}, {say_volume(jar.volume_ml)}{inside}.")
        if test.plan.notes:
            st.markdown(f"Notes: {plain(test.plan.notes)}")
        if case.signed or stopped(case):
            return
        revision = state.get(state.key(form, "revision"))
        if revision is None:
            if st.button("Change the plan", key=state.key("test", test.id, "change")):
                plan_form.fill(form, test.plan)
                recipe_form.fill(form, test.plan, with_products=True)
                state.put(state.key(form, "revision"), test.revision)
                st.rerun()
            _stop(recorder, case)
        else:
            _change(recorder, case, form, revision)


def _say_line(n: int, product: Product) -> str:
    extra = ", ".join(x for x in (product.maker, f"lot {product.lot}" if product.lot else "") if x)
    return f"{n}. **{plain(say_product(product))}**" + (f" ({plain(extra)})" if extra else "")


def _change(recorder: Recorder, case: Case, form: str, revision: int) -> None:
    """The plan as a form; when somebody else saved first, what was typed stays and theirs is shown above."""
    test_id = case.test.id
    by_tank = case.test.plan.recipe is not None
    if by_tank:
        recipe_form.draw(form, recorder, case.test.plan)
    else:
        plan_form.draw(form, recorder.known_products(), offered_jars(recorder))
        with suppress(BadEntry):  # the form says so itself, beside the line
            plan_form.draw_cautions(form, recorder, plan_form.read(form))
    if case.test.revision != revision:
        st.warning(
            f"{plain(case.test.revised_by)} changed this while you were editing (revision {case.test.revision}, shown "
            "above); what you typed is still here. Save yours as the next revision, or leave theirs."
        )
        if st.button("Mine comes after theirs", key=state.key(form, "after-theirs")):
            state.put(state.key(form, "revision"), case.test.revision)
            st.rerun()
    with st.container(horizontal=True):
        if st.button("Save as a new revision", key=state.key(form, "save"), type="primary"):
            with error_box() as box:
                plan = recipe_form.read(form, recorder, case.test.plan) if by_tank else plan_form.read(form)
                new_on_shelf(recorder, plan, by=name())
                recorder.change_plan(test_id, plan, by=name(), expected_revision=revision)
                state.clear(form)
                st.rerun()
            if isinstance(box.error, Conflict):
                st.markdown("Nothing you typed is lost; nothing of theirs was overwritten.")
        if st.button("Leave it as it was", key=state.key(form, "leave")):
            state.clear(form)
            st.rerun()


def _stop(recorder: Recorder, case: Case) -> None:
    with st.popover("Stop this test early"):
        why = st.text_input("Why", key=state.key("test", case.test.id, "why"), max_chars=500)
        if st.button("Stop it", key=state.key("test", case.test.id, "stop")):
            with error_box():
                recorder.stop_test(case.test.id, by=name(), note=why)
                st.rerun()


def _history(case: Case) -> None:
    with st.expander("History: who did what, when"):
        lines = [
            f"- {clock(h.at, case.test)} · {plain(h.by) or 'machine'} · {plain(h.says)}"
            for h in timeline(case)
        ]
        st.markdown("\n".join(lines))
        if case.verdicts:
            now = case.verdicts[-1].verdict
            st.caption(f"The machine's verdict now: {say_verdict(now.word, now.score, now.age_s)}.")
