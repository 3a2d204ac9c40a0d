"""How good are we: machine and person, first opinion and second, and proposals for the shop's limits."""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd
import streamlit as st

from jartest.history.agreement import WORDS, Compared, Judged, compare, compare_by
from jartest.history.corrections import CORRECTIONS, Corrected
from jartest.history.proposals import MISS_COST, Proposal
from jartest.history.questions import CHECKED, NEWEST, History
from jartest.recorder import Recorder
from jartest.screens import state
from jartest.screens.parts import error_box, link_to, plain, say_word
from jartest.screens.who import ask_name, name
from jartest.settings import accept_limits, read_settings

__all__ = ["disagreements", "draw_agreement"]

_LINKED = 10  # disagreements with a link; the table has all (our choice)
_BY = {"person": "second_by", "jar": "jar", "method version": "method"}


def draw_agreement(recorder: Recorder, history: History) -> None:
    """Draw how far the judges agree, where not, and which limits the shop's own tests speak for."""
    judged = history.judged_blind()
    st.caption(
        f"By the newest tests, at most {NEWEST} of them: the machine's word on the last photo alone, and the words that "
        "people gave before they saw it."
    )
    st.markdown("#### Whose eye")
    whose = st.empty()
    whose.markdown("Weighing who reads how well …")
    st.markdown("#### Machine and person")
    _compared(recorder, compare(judged), first="machine", second="person")
    if judged:
        by = st.segmented_control("By", list(_BY), default="person", key=state.key("history", "by"))
        kappas = ("weighted kappa", "from (95 %)", "to (95 %)")
        two_places = {k: st.column_config.NumberColumn(format="%.2f") for k in kappas}
        groups = _groups(judged, _BY[by or "person"])
        st.dataframe(groups, hide_index=True, width="stretch", column_config=two_places)
        st.caption("Weighted kappa: 1 is full agreement, 0 is what chance alone would give.")
    st.markdown("#### First opinion and second")
    _compared(recorder, compare(history.second_opinions()), first="first person", second="second person")
    st.markdown("#### Readings corrected by hand")
    _corrected(history.corrected())
    st.markdown("#### Limits of your own")
    st.caption(
        "Nothing changes until you accept; verdicts that stand keep the limits they were made under. "
        f"A missed failure counts as much as {MISS_COST:.0f} false alarms."
    )
    _limits(recorder, history.proposals(recorder.limits))
    # Stands on top and comes last: it takes longest.
    eyes = history.eyes()
    whose.markdown(
        "\n".join(f"- {plain(e.says)}" for e in eyes)
        or "Nobody has given a verdict before seeing the machine's yet."
    )


def _compared(recorder: Recorder, found: Compared, *, first: str, second: str) -> None:
    st.markdown(plain(found.says))
    if not found.plain.n:
        return
    counts = pd.DataFrame(
        found.counts,
        index=[f"{first}: {say_word(w)}" for w in WORDS],
        columns=[f"{second}: {say_word(w)}" for w in WORDS],
    )
    st.dataframe(counts, width="stretch")
    st.caption(f"{first} passed what {second} failed: {found.missed}; the reverse: {found.alarms}.")
    if not found.apart:
        return
    with st.expander(f"Where they differed: {len(found.apart)} tests, the furthest apart first"):
        for j in found.apart[:_LINKED]:
            link_to("test", f"Test {j.number}", id=recorder.store.test_id_of(j.number))
            st.caption(
                plain(
                    f"{j.first_by}: {say_word(j.first)}; {j.second_by}: {say_word(j.second)}; {j.at:%Y-%m-%d}"
                )
            )
        if len(found.apart) > _LINKED:
            st.dataframe(disagreements(found), hide_index=True, width="stretch")


def disagreements(found: Compared) -> pd.DataFrame:
    """One line for each test that two judged differently, the furthest apart first."""
    rows = [
        (j.number, f"{j.at:%Y-%m-%d}", j.first_by, j.first, j.second_by, j.second, j.jar, j.method, j.blind)
        for j in found.apart
    ]
    heads = ["test", "day", "first", "said", "second", "said too", "jar", "method version", "blind"]
    return pd.DataFrame(rows, columns=heads)


def _corrected(found: tuple[Corrected, ...]) -> None:
    st.caption(
        f"By the newest {CHECKED} tests, signed or not. Every reading is kept beside the one set by hand."
    )
    if not any(x.by_hand for x in found):
        st.markdown("No reading has been corrected by hand yet.")
        return
    st.markdown("\n".join(f"- {plain(x.says)}" for x in found))
    rows = [(x.method, kind, *x.counts[kind], x.looks) for x in found for kind in CORRECTIONS if x.by_hand]
    heads = ["method", "what was put right", "in looks", "how many", "of looks read"]
    st.dataframe(pd.DataFrame(rows, columns=heads), hide_index=True, width="stretch")


def _groups(judged: tuple[Judged, ...], key: str) -> pd.DataFrame:
    rows = [
        (
            str(group) or "not named",
            c.plain.n,
            c.weighted.value,
            c.weighted.low,
            c.weighted.high,
            c.missed,
            c.alarms,
        )
        for group, c in compare_by(judged, lambda j: str(getattr(j, key))).items()
    ]
    heads = [
        "group",
        "tests",
        "weighted kappa",
        "from (95 %)",
        "to (95 %)",
        "missed failures",
        "false alarms",
    ]
    return pd.DataFrame(rows, columns=heads)


def _limits(recorder: Recorder, found: Mapping[str, Proposal]) -> None:
    for rule, proposal in found.items():
        st.markdown(f"**{rule}** · {plain(proposal.says)}")
    ask_name(recorder)
    offered = [p for p in found.values() if p.fail_min is not None]
    if offered and name():
        rules = st.multiselect("Accept for", [p.rule for p in offered], key=state.key("history", "accept"))
        if rules and st.button("Accept these limits", key=state.key("history", "accepted")):
            with error_box():
                chosen = [p for p in offered if p.rule in rules]
                recorder.limits = accept_limits(
                    read_settings(), chosen, by=name(), on=f"{recorder.now():%Y-%m-%d}"
                )
                st.success("The new limits are in force from the next verdict on.")
