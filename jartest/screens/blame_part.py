"""Suspects and the next jar, for one failed mixture."""

from __future__ import annotations

from contextlib import suppress

import streamlit as st

from jartest.errors import NotFound
from jartest.history.next_jar import Jar, Named, Step
from jartest.history.questions import Blame
from jartest.history.suspects import Prior
from jartest.recorder import Recorder
from jartest.records.model import TestPlan
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
        blame.posterior.space.products,
        key=state.key("history", "at hand", picked),
        placeholder="all of it; pick only if something is missing",
    )
    jar = blame.next_jar(at_hand or None)
    if jar is None:
        st.markdown("No jar of these products would tell more.")
    else:
        _next_jar(recorder.plan_jar(test, jar), jar)
        _plan(blame.plan(at_hand=at_hand or None))
    _rests(blame, recorder)
    st.caption(plain(prior.says))
    if st.toggle("All failures together, whatever the mixture", key=state.key("history", "all")):
        together = recorder.history(samples=samples).everything(prior)
        st.markdown(f"#### {plain(together.says)}")
        _suspects(together)
        st.caption("Pairs alone, of the products in most trouble.")
    if not blame.posterior.space.exact:
        st.caption(
            "There are too many sets of culprits to weigh each; these figures are from a sample of them."
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
                value=100 * getattr(Prior(), name),
                step=0.5,
                key=state.key("history", "prior", name),
            )
            for name, label in (
                ("pair", "One pair is a culprit, %"),
                ("product", "One product in this water is, %"),
                ("order", "One order of two is, %"),
                ("error", "A jar is read wrongly, %"),
                ("remix_error", "A jar that failed but re-mixed fully is read wrongly, %"),
                ("sign_error", "The first sign was noted after another product than its cause, %"),
            )
        }
        most = st.number_input(
            "At most so many culprits together",
            1,
            4,
            value=Prior().most,
            key=state.key("history", "prior", "most"),
        )
    return Prior(most=int(most), **{name: value / 100 for name, value in percent.items()})


def _suspects(blame: Blame) -> None:
    for suspect, chance in blame.suspects[:_SHOWN]:
        st.progress(min(max(chance, 0.0), 1.0), text=f"**{100 * chance:.0f} %** · {plain(suspect.says)}")


def _next_jar(plan: TestPlan, jar: Jar) -> None:
    st.markdown(f"#### Next jar: {plain(' + '.join(jar.products))}")
    st.caption(
        f"It fails with {100 * jar.fail_chance:.0f} %. Whichever way it ends, that answers {jar.bits:.2f} of one "
        "yes-or-no question about the culprit (bits); no other jar of these answers more."
    )
    if st.button("Start this jar", type="primary", width="stretch", key=state.key("history", "start")):
        state.clear(_FORM)
        plan_form.fill(_FORM, plan)
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
