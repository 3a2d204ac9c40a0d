"""Suspects and the next jar, for one failed mixture."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace

import streamlit as st

from jartest.errors import NotFound
from jartest.history.next_jar import Jar, Named, Step
from jartest.history.prior import Prior, default_prior
from jartest.history.questions import Blame
from jartest.recorder import Recorder
from jartest.records.model import JarTest, TestPlan
from jartest.screens import plan_form, state
from jartest.screens.parts import go_to, link_to, plain

__all__ = ["draw_blame"]

_FORM = "new"  # the form of the New test screen, which the next jar is handed over to
_SHOWN = 8  # suspects listed
_FAILED = 200  # failed tests offered, the newest; any other by its own page (our choice)


def draw_blame(recorder: Recorder, *, samples: bool) -> None:
    """Draw the suspects of a failed mixture, which test said what, and which jar to mix next."""
    found = recorder.find("verdict:fail", limit=_FAILED)
    titles = {r.id: f"{r.number} · {r.title}" for r in found if r.signed_by and r.sample == samples}
    chosen = state.key("history", "failed")
    asked = str(state.get(chosen) or st.query_params.get("of", ""))
    if asked and asked not in titles:
        titles |= _older(recorder, asked, samples=samples)
    if not titles:
        st.markdown("No signed test has failed, so nobody is suspected.")
        return
    if state.get(chosen) not in titles:
        state.put(chosen, asked if asked in titles else next(iter(titles)))
    picked = st.selectbox("Which failed mixture?", list(titles), format_func=titles.__getitem__, key=chosen)
    prior = _prior()
    test = recorder.case(picked).test
    with st.spinner("Weighing who is to blame …"):
        blame = recorder.blame(test, prior)
    st.markdown(f"#### {plain(blame.says)}")
    _suspects(blame)
    at_hand = st.multiselect(
        "What is at hand for the next jar?",
        blame.products,
        key=state.key("history", "at hand", picked),
        placeholder="all of it; pick only if something is missing",
    )
    jar = blame.next_jar(at_hand or None)
    if jar is None:
        st.markdown("No jar of these products would tell more.")
    else:
        _next_jar(recorder.plan_jar(test, jar), jar)
        _side_by_side(recorder, test, blame.next_jars(at_hand=at_hand or None))
        _plan(blame.plan(at_hand=at_hand or None))
    _rests(blame, recorder)
    st.caption(plain(prior.says))
    if st.toggle("All failures together, whatever the mixture", key=state.key("history", "all")):
        together = recorder.history(samples=samples).everything()
        st.markdown(f"#### {plain(together.says)}")
        _suspects(together)
        st.caption(plain(recorder.history(samples=samples).model_says))
    if not blame.posterior.space.exact:
        st.caption(
            "There are too many sets of causes to weigh each; these figures are from a sample of them."
        )


def _older(recorder: Recorder, test_id: str, *, samples: bool) -> dict[str, str]:
    """A test that was asked for by its id and is older than those offered; nothing where it is gone."""
    with suppress(NotFound):
        test = recorder.case(test_id).test
        if test.sample == samples:
            return {test_id: f"{test.number} · {test.plan.title}"}
    return {}


def _prior() -> Prior:
    with st.expander("What is believed before any jar, and how sure a reading is"):
        percent = {
            name: st.number_input(
                label,
                0.0,
                45.0,
                value=100 * getattr(default_prior(), name),
                step=0.5,
                key=state.key("history", "prior", name),
            )
            for name, label in (
                ("pair", "Two products do not go together, %"),
                ("product", "One product goes wrong by itself, %"),
                ("error", "A jar is read wrongly, %"),
                ("remix_error", "A jar that failed but re-mixed fully is read wrongly, %"),
                ("sign_error", "The first sign was noted after another product than its cause, %"),
            )
        }
    return replace(default_prior(), **{name: value / 100 for name, value in percent.items()})


def _suspects(blame: Blame) -> None:
    for suspect, chance in blame.suspects[:_SHOWN]:
        st.progress(min(max(chance, 0.0), 1.0), text=f"**{100 * chance:.0f} %** · {plain(suspect.says)}")


def _next_jar(plan: TestPlan, jar: Jar) -> None:
    how = f" {plain(jar.says)}" if jar.says else ""
    st.markdown(f"#### Next jar: {plain(' + '.join(jar.products))}{how}")
    st.caption(
        f"It fails with {100 * jar.fail_chance:.0f} %. Whichever way it ends, that answers {jar.bits:.2f} of one "
        "yes-or-no question about the culprit (bits); no other jar of these answers more."
    )
    if st.button("Start this jar", type="primary", width="stretch", key=state.key("history", "start")):
        state.clear(_FORM)
        plan_form.fill(_FORM, plan)
        go_to("new")


def _side_by_side(recorder: Recorder, test: JarTest, jars: Sequence[Jar]) -> None:
    """Several jars at once, for a bench that has room for them."""
    if len(jars) < 2:
        return
    with st.expander(f"Or {len(jars)} jars side by side, none waiting for another"):
        for n, jar in enumerate(jars, 1):
            st.markdown(f"{n}. {plain(' + '.join(jar.products))} {plain(jar.says)}")
            if st.button(f"Start jar {n} of these", key=state.key("history", "start", n)):
                state.clear(_FORM)
                plan_form.fill(_FORM, recorder.plan_jar(test, jar))
                go_to("new")


def _plan(step: Step | Named) -> None:
    with st.expander("The plan after that"):
        st.markdown("\n".join(_lines(step, 0)))


def _lines(step: Step | Named, depth: int) -> list[str]:
    pad = "  " * depth
    if isinstance(step, Named):
        who = " and ".join(s.says for s in step.culprits) or "nobody: a wrong reading"
        told = f"named: {who}" if step.sure else f"so far likeliest: {who}"
        return [f"{pad}- {plain(f'{told} ({100 * step.chance:.0f} %)')}"]
    return [
        f"{pad}- Jar of {plain(' + '.join(step.jar.products))}",
        f"{pad}  - ● if it passes",
        *_lines(step.if_pass, depth + 2),
        f"{pad}  - ✖ if it fails",
        *_lines(step.if_fail, depth + 2),
    ]


def _rests(blame: Blame, recorder: Recorder) -> None:
    rests = blame.rests_on()
    if not rests:
        return
    with st.expander(f"What this rests on: {len(rests)} test{'s' if len(rests) > 1 else ''}"):
        for r in rests[:_SHOWN]:
            change = f"; had it ended the other way, {r.leads.says} would lead" if r.would_change else ""
            link_to("test", f"Test {r.number}", id=recorder.store.test_id_of(r.number))
            st.caption(
                plain(
                    f"The leading suspect stands at {100 * r.chance:.0f} %, without this test at {100 * r.without:.0f} %{change}."
                )
            )
