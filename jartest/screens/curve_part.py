"""The settling curve of a test, drawn and as a table."""

from __future__ import annotations

import math

import altair as alt
import streamlit as st

from jartest.imaging.change import say_change
from jartest.plan.schedule import say_age
from jartest.recorder import Recorder, say_slot
from jartest.records.model import Case, Look
from jartest.screens import state
from jartest.screens.parts import error_box, percent, plain
from jartest.tank import PARTED_FRACTION, say_standing
from jartest.trend import CurvePoint, Growth, growths, say_growth
from jartest.units import read_temperature
from jartest.verdict.values import BANDS

__all__ = ["curve_rows", "draw_curve", "over_time"]

# Each line has its own word, mark and dash, so that it can be told without colour.
_LINES = {"settled": "settled", "clear": "clear", "floating": "top_layer"}


def curve_rows(points: tuple[CurvePoint, ...]) -> list[dict[str, float | str]]:
    """One row for each measurable height: minutes after mixing, which height, its fraction, one sigma either side."""
    rows: list[dict[str, float | str]] = []
    for p in points:
        for what, column in _LINES.items():
            value, sigma = getattr(p, f"{column}_fraction"), getattr(p, f"{column}_sigma_fraction")
            if not math.isnan(value):
                doubt = 0.0 if math.isnan(sigma) else sigma
                at = {"minutes": p.age_s / 60, "what": what, "fraction": value}
                rows.append({**at, "low": value - doubt, "high": value + doubt})
    return rows


def draw_curve(recorder: Recorder, case: Case) -> None:
    """Draw the curve once two looks have an age."""
    points = recorder.curve(case)
    if len(points) < 2:
        return
    # Drawn only while it is open: it is the dearest part of the screen, and few look at it while a jar stands.
    fold = st.expander("Over time", key=over_time(case.test.id), on_change="rerun")
    if fold.open:
        with fold:
            _draw_over_time(recorder, case, points)


def over_time(test_id: str) -> str:
    """The key of the fold that holds the curve."""
    return state.key("over-time", test_id)


def _draw_over_time(recorder: Recorder, case: Case, points: tuple[CurvePoint, ...]) -> None:
    rows = curve_rows(points)
    if rows:
        st.altair_chart(_chart(rows), width="stretch")
    scores = dict(recorder.score_curve(case))
    if len(scores) > 1:
        st.altair_chart(_score_chart(scores), width="stretch")
        st.caption("Score of each photo alone: 67 and more is a pass, under 34 a fail.")
    heads = "| after | settled | clear | floating | score |\n|---|---|---|---|---|\n"
    st.markdown(heads + "\n".join(_line(p, scores.get(p.age_s)) for p in points))
    _draw_growths(growths(recorder.standing_curve(case)), case)
    _draw_change(recorder, case)


def _draw_change(recorder: Recorder, case: Case) -> None:
    """What changed from the first good photo to the look that is shown."""
    shown = state.get(state.key("test", case.test.id, "shown"))
    look = next((x for x in case.looks if x.id == shown), case.looks[-1])
    first = recorder.first_good(case)
    if first is None:
        st.markdown(
            "Change since the first photo: not measurable, because no photo after mixing was good enough."
        )
        return
    now, then = case.latest_reading(look.id), case.latest_reading(first.id)
    if look.taken_at <= first.taken_at or now is None or then is None:
        return
    with error_box():
        found = _say_change(then.id, now.id, _recorder=recorder, _case=case, _first=first, _look=look)
        said = "\n".join(f"- {plain(x)}" for x in found)
        names = [plain(say_slot(x.slot, case.test.plan)) for x in (look, first)]
        st.markdown(f"**{names[0]} against the first good photo ({names[1]})**\n\n{said}")
        st.caption(
            "The light is taken off by the backdrop beside the jar: leave jar and backdrop where they are."
        )


@st.cache_data(max_entries=64, show_spinner=False)
def _say_change(
    then_id: str, now_id: str, *, _recorder: Recorder, _case: Case, _first: Look, _look: Look
) -> tuple[str, ...]:
    change = _recorder.change(_case, _first, _look)
    return () if change is None else say_change(change)


def _draw_growths(growing: tuple[Growth, ...], case: Case) -> None:
    """How fast it comes apart, and how long a tank may stand by that."""
    if not growing:
        return
    st.markdown("\n".join(f"- {plain(say_growth(g))}" for g in growing))
    with st.expander("How long may the tank stand without agitation?"):
        depth_in = st.number_input(
            "Depth of the liquid in the tank, inches",
            min_value=1.0,
            max_value=400.0,
            value=None,
            step=1.0,
            key=state.key("curve", case.test.id, "depth"),
        )
        share = st.select_slider(
            "Until this share of it has parted",
            [0.02, PARTED_FRACTION, 0.1, 0.2, 0.5],
            value=PARTED_FRACTION,
            format_func=lambda x: f"{x:.0%}",
            key=state.key("curve", case.test.id, "share"),
        )
        warmth = st.text_input(
            "Temperature of the tank's water",
            key=state.key("curve", case.test.id, "tank-warmth"),
            placeholder="68 F or 20 C",
            max_chars=20,
        )
        if depth_in is not None:
            with error_box():
                said = say_standing(
                    growing,
                    depth_in,
                    share,
                    jar_c=case.test.plan.water.temperature_c,
                    tank_c=read_temperature(warmth) if warmth.strip() else None,
                )
                st.markdown("\n".join(f"- {plain(x)}" for x in said))


def _line(p: CurvePoint, score: int | None) -> str:
    cells = (
        say_age(p.age_s),
        percent(p.settled_fraction, p.settled_sigma_fraction),
        percent(p.clear_fraction, p.clear_sigma_fraction),
        percent(p.top_layer_fraction, p.top_layer_sigma_fraction),
        "none" if score is None else str(score),
    )
    return f"| {' | '.join(cells)} |"


def _time_axis() -> alt.X:
    return alt.X(
        "minutes:Q",
        title="minutes after mixing",
        scale=alt.Scale(type="symlog", constant=5),
        axis=alt.Axis(values=[0, 5, 15, 30, 120, 1440]),
    )


def _score_chart(scores: dict[float, int]) -> alt.LayerChart:
    """The scores over time, with a line where a pass ends and one where a fail begins."""
    rows = [{"minutes": age_s / 60, "score": score} for age_s, score in scores.items()]
    height = alt.Y("score:Q", title="score", scale=alt.Scale(domain=[0, 100]))
    base = alt.Chart(alt.InlineData(values=rows)).encode(x=_time_axis(), y=height)
    limits = [{"score": BANDS["pass"][0]}, {"score": BANDS["watch"][0]}]
    lines = alt.Chart(alt.InlineData(values=limits)).mark_rule(strokeDash=[6, 4]).encode(y=height)
    points = base.mark_point(size=110, filled=True, opacity=1, color="#111")
    layered: alt.LayerChart = alt.LayerChart(layer=[lines, base.mark_line(color="#111"), points])
    styled: alt.LayerChart = layered.properties(height=160).configure_axis(
        labelColor="#111", titleColor="#111", labelFontSize=14, titleFontSize=14
    )
    return styled


def _chart(rows: list[dict[str, float | str]]) -> alt.LayerChart:
    names = list(_LINES)
    colours = alt.Scale(domain=names, range=["#5b3a00", "#0b57d0", "#a3005a"])
    what = alt.Color(
        "what:N",
        scale=colours,
        legend=alt.Legend(
            title=None, orient="top", symbolSize=160, symbolStrokeWidth=0, labelColor="#111", labelFontSize=15
        ),
    )
    base = alt.Chart(alt.InlineData(values=rows)).encode(x=_time_axis())
    # At least a tenth of the height, so that next to nothing looks like it and every tick has its own figure.
    most = max([0.1, *(float(row["high"]) for row in rows)])
    height = alt.Scale(domain=[0, most], nice=True, clamp=True)
    axis = alt.Axis(format=".0%", tickMinStep=0.01)
    y = alt.Y("fraction:Q", title="of the liquid's height", scale=height, axis=axis)
    lines = base.mark_line(strokeWidth=3).encode(
        y=y,
        color=what,
        strokeDash=alt.StrokeDash(
            "what:N", scale=alt.Scale(domain=names, range=[[1, 0], [8, 4], [2, 3]]), legend=None
        ),
    )
    points = base.mark_point(size=110, filled=True, opacity=1).encode(
        y=y,
        color=what,
        shape=alt.Shape("what:N", scale=alt.Scale(domain=names, range=["square", "circle", "triangle-up"])),
    )
    bars = base.mark_rule(strokeWidth=2).encode(y=alt.Y("low:Q", scale=height), y2="high:Q", color=what)
    layered: alt.LayerChart = alt.LayerChart(layer=[bars, lines, points]).properties(height=280)
    styled: alt.LayerChart = layered.configure_axis(
        labelColor="#111", titleColor="#111", labelFontSize=14, titleFontSize=14
    )
    return styled
