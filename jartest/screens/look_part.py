"""The looks of a test: a photo in, measured at once, its lines set right by thumb."""

from __future__ import annotations

import math

import streamlit as st

from jartest.field.access import Access
from jartest.field.links import desk_path
from jartest.imaging.by_hand import say_marks
from jartest.imaging.held import DOUBTED
from jartest.imaging.lump_size import say_lumps
from jartest.imaging.quality import REGISTER
from jartest.imaging.sizes import layer_sizes
from jartest.imaging.values import Frame, LayerKind, Marks, Reading
from jartest.jars import shape_of
from jartest.plan.jars import JarShape
from jartest.plan.schedule import EXTRA, next_look
from jartest.recorder import Recorder, RunningTest, say_slot
from jartest.records.model import Case, KeptReading, Look
from jartest.screens import state
from jartest.screens.doubt_part import ask_lines, say_fill
from jartest.screens.line_setter import line_setter
from jartest.screens.parts import (
    SHAPES,
    STATE_SHAPES,
    clock,
    error_box,
    overlay_picture,
    percent,
    plain,
    plain_picture,
    say_times,
    show_reason,
)
from jartest.screens.question_part import ask_question
from jartest.screens.send_photo import send_photo
from jartest.screens.strip_part import filmstrip
from jartest.screens.who import name
from jartest.settings import read_settings
from jartest.verdict.question import question_of
from jartest.verdict.words import say_verdict

__all__ = ["choose_slot", "draw_figures", "draw_looks", "draw_sizes", "say_flags", "shown_look", "take_photo"]

_KINDS: dict[LayerKind, str] = {
    "foam": "Foam",
    "floating": "Floating",
    "clear": "Clear",
    "body": "Liquid",
    "settled": "Settled",
}
_ORIGINS = {
    "found": "Lines as found in the photo; nobody has checked them yet.",
    "carried": "Lines carried over from the earlier look; check them.",
    "set": "Lines set by hand by {by}{what}.",
}
_MADE = {"found": "as found", "carried": "carried over", "set": "put right"}


# ------------------------------------------------------------------ photo comes in
def take_photo(recorder: Recorder, case: Case, standing: RunningTest, *, main: bool) -> None:
    """A photo for the look that is due, or for any other; it is kept as soon as it is picked.

    `main` where it is what is due; else it is a second button beside what is.
    """
    test_id = case.test.id
    chosen = state.get(_offer(test_id, *_slots(standing))) or EXTRA
    by = name()
    send_photo(
        test_id=test_id,
        path=desk_path(Access(read_settings().home), case.test, by) if by else "",
        slot=chosen,
        label=f"Photo: {say_slot(chosen, case.test.plan)}",
        main=main,
        shown=state.key("test", test_id, "shown"),
        # Not keyed by the slot: a look that falls due while the camera is open must not lose the photo.
        key=state.key("test", test_id, "send"),
    )


def choose_slot(case: Case, standing: RunningTest) -> None:
    """Which look the next photo is for, where it is another than the one that is due."""
    states = {d.slot.key: d.state for d in standing.due}
    first, slots = _slots(standing)
    with st.expander("Photo for another look", key=state.key("test", case.test.id, "another")):
        st.pills(
            "Photo for",
            slots,
            key=_offer(case.test.id, first, slots),
            required=True,
            wrap=True,
            format_func=lambda k: (
                f"{STATE_SHAPES[states[k]]} {say_slot(k, case.test.plan)}: {states[k]}"
                if k in states
                else "extra look"
            ),
        )


def _slots(standing: RunningTest) -> tuple[str, list[str]]:
    """The look that a photo is for by itself, and all that it may be for."""
    states = {d.slot.key: d.state for d in standing.due}
    over = {d.slot.key for d in standing.due if d.state == "missed" and d.slot.addition is not None}
    slots = [k for k, s in states.items() if s not in ("taken", "waiting") and k not in over] + [EXTRA]
    following = next_look([d for d in standing.due if d.state in ("due", "late")])
    return (following.slot.key if following else EXTRA), slots


def _offer(test_id: str, first: str, slots: list[str]) -> str:
    """The key of the chosen slot: the person's choice stands until another look falls due or it is taken."""
    choice, offered = state.key("test", test_id, "slot"), state.key("test", test_id, "offered")
    if state.get(offered) != first or state.get(choice) not in slots:
        state.put(choice, first)
        state.put(offered, first)
    return choice


# ------------------------------------------------------------------- looks taken
def shown_look(case: Case) -> Look | None:
    """The look that is shown: the one chosen, or the newest where one came in since."""
    if not case.looks:
        return None
    looks = sorted(case.looks, key=lambda x: x.taken_at)
    shown = state.get(_follow(case, looks))
    return next(x for x in looks if x.id == shown)


def draw_looks(recorder: Recorder, case: Case) -> None:
    """One look at a time, the newest first: the marked photo, whether its lines are right; the rest in folds."""
    look = shown_look(case)
    if look is None:
        return
    looks = sorted(case.looks, key=lambda x: x.taken_at)
    by_id = {x.id: x for x in looks}
    if len(looks) > 1:
        st.pills(
            "Looks taken",
            [x.id for x in looks],
            key=state.key("test", case.test.id, "shown"),
            required=True,
            wrap=False,
            label_visibility="collapsed",
            format_func=lambda i: _say_look(case, by_id[i]),
        )
        filmstrip(case)
    kept = case.latest_reading(look.id)
    if kept is None:
        st.warning("This photo is kept but could not be measured; take the look again.")
        return
    _draw_look(recorder, case, look, kept)


def _follow(case: Case, looks: list[Look]) -> str:
    """The key of the look that is shown: the newest when one came in since, from here or from a phone."""
    shown, known = (state.key("test", case.test.id, k) for k in ("shown", "known"))
    newest = max(looks, key=lambda x: x.received_at).id
    if state.get(known) not in (None, newest):
        state.put(shown, newest)
    state.put(known, newest)
    if state.get(shown) not in {x.id for x in looks}:
        state.put(shown, looks[-1].id)
    return shown


def _say_look(case: Case, look: Look) -> str:
    kept = case.latest_reading(look.id)
    word = None if kept is None else kept.verdict.word
    at = f" {clock(look.taken_at, case.test, day=False)}" if look.slot == EXTRA else ""
    return f"{SHAPES[word]} {plain(say_slot(look.slot, case.test.plan))}{at}"


def _draw_look(recorder: Recorder, case: Case, look: Look, kept: KeptReading) -> None:
    reading, says = kept.reading, say_slot(look.slot, case.test.plan)
    editing = state.key("test", case.test.id, "lines", look.id)
    signed_under = case.signature is not None and look.received_at <= case.signature.at
    asked = False
    if not signed_under:
        ask_lines(recorder, look, kept)
        asked = question_of(reading, recorder.limits) is not None
        if asked and ask_question(recorder, look, kept):
            state.put(editing, True)
            st.rerun()
    if not signed_under and (bool(state.get(editing)) or not (asked or _whole(reading))):
        _set_lines(recorder, look, kept, editing)
    else:
        st.image(
            overlay_picture(recorder, look, reading, kept.id),
            width=640,
            alt=f"Photo of the look {says} with the measurements drawn on it",
        )
    st.caption(f"{plain(says)} · {say_times(case, look)} · {_say_origin(kept)}")
    if not signed_under:
        _ask_right(recorder, look, kept, editing, asked=asked)
    say_fill(recorder, case, look, kept)
    with st.expander(
        "This photo: figures, and how to take a better one", key=state.key("figures", case.test.id)
    ):
        say_flags(reading)
        draw_figures(reading)
        draw_sizes(reading, shape_of(recorder, case.test.plan.jar))
        if lumps := say_lumps(reading, recorder.limits.strainers):
            st.markdown(plain(lumps))
        _draw_own_reasons(case, kept)
        _draw_readings(case, look)


def _whole(reading: Reading) -> bool:
    """Whether every line of the jar is known, so that the marked photo says something."""
    frame = reading.jar
    if not reading.jar_found or frame is None:
        return False
    return all(math.isfinite(x) for x in (frame.left_px, frame.right_px, frame.floor_px, frame.surface_px))


def _ask_right(recorder: Recorder, look: Look, kept: KeptReading, editing: str, *, asked: bool) -> None:
    """Whether the lines are right, in one tap, unless a question is open; or the way to set them."""
    if not _whole(kept.reading) and not asked:
        return
    if state.get(editing):
        st.button(
            "Leave them as they are",
            key=f"{editing}.close",
            width="stretch",
            on_click=state.put,
            args=(editing, False),
        )
        return
    with st.container(horizontal=True, gap="small"):
        doubted = asked or DOUBTED in kept.reading.flags
        if (
            kept.origin != "set"
            and not doubted
            and st.button(
                "Lines are right", key=state.key("test", look.test_id, "right", look.id), width="stretch"
            )
        ):
            with error_box(), st.spinner("Measuring …"):
                recorder.set_lines(look.id, _lines_of(kept.reading), by=name())
                st.rerun()
        label = "Put it right by hand"
        st.button(label, key=f"{editing}.open", width="stretch", on_click=state.put, args=(editing, True))


def _lines_of(reading: Reading) -> Marks:
    """The jar's lines as they were read, to be kept as a person's."""
    frame = reading.jar or Frame()
    return Marks(
        left_px=frame.left_px,
        right_px=frame.right_px,
        floor_px=frame.floor_px,
        surface_px=frame.surface_px,
    )


def _draw_own_reasons(case: Case, kept: KeptReading) -> None:
    """What this photo alone says, as far as the whole test's verdict does not say it."""
    told = [r.says for r in case.verdicts[-1].verdict.reasons] if case.verdicts else []
    for r in kept.verdict.reasons:
        if not any(r.says in x for x in told):
            show_reason(r)


def _say_origin(kept: KeptReading) -> str:
    return _ORIGINS[kept.origin].format(by=plain(kept.by), what=_say_what(kept))


def _say_what(kept: KeptReading) -> str:
    return "" if kept.marks is None else f" ({say_marks(kept.marks)})"


def _draw_readings(case: Case, look: Look) -> None:
    """Every reading of this photo, the one that counts last: nothing is overwritten."""
    kept = [r for r in case.readings if r.look_id == look.id]
    if len(kept) < 2:
        return
    heads = "| made | by | settled | clear | floating | verdict |\n|---|---|---|---|---|---|\n"
    st.markdown(f"All {len(kept)} readings of this photo; the last one counts")
    st.markdown(heads + "\n".join(_line(case, r) for r in kept))


def _line(case: Case, kept: KeptReading) -> str:
    r = kept.reading
    cells = (
        clock(kept.at, case.test, day=False),
        plain(f"{kept.by}: {_MADE[kept.origin]}{_say_what(kept)}"),
        percent(r.settled_fraction, r.settled_sigma_fraction),
        percent(r.clear_fraction, r.clear_sigma_fraction),
        percent(r.top_layer_fraction, r.top_layer_sigma_fraction),
        say_verdict(kept.verdict.word, kept.verdict.score),
    )
    return f"| {' | '.join(cells)} |"


def _set_lines(recorder: Recorder, look: Look, kept: KeptReading, editing: str) -> None:
    with error_box():
        marks = line_setter(
            plain_picture(recorder, look),
            kept.reading,
            of=kept.id,
            key=state.key("lines", look.id),
        )
        if marks is not None:
            recorder.set_lines(look.id, marks, by=name())
            state.put(editing, False)
            st.rerun()


# ----------------------------------------------------------------------- figures
def draw_figures(reading: Reading) -> None:
    """The figures of a reading, in percent of the height of the liquid."""
    if not reading.jar_found:
        return
    lumps = "not measurable" if math.isnan(reading.floc_index) else f"{reading.floc_index:.2f}"
    rows = (
        ("Settled", percent(reading.settled_fraction, reading.settled_sigma_fraction)),
        ("Clear", percent(reading.clear_fraction, reading.clear_sigma_fraction)),
        ("Floating", percent(reading.top_layer_fraction, reading.top_layer_sigma_fraction)),
        ("Foam", percent(reading.foam_fraction, reading.foam_sigma_fraction)),
        ("Lump index, 0 to 1", lumps),
    )
    st.markdown(
        "| of the liquid's height | |\n|---|---|\n" + "\n".join(f"| {n} | **{v}** |" for n, v in rows)
    )


def draw_sizes(reading: Reading, jar: JarShape | None) -> None:
    """The layers in millimeters, and in milliliters where the jar is known; nothing without a scale."""
    sizes = layer_sizes(reading, jar)
    if not sizes or reading.jar is None:
        return
    rows = "\n".join(
        f"| {_KINDS[x.kind]} | {x.bottom_mm:.1f} to **{x.top_mm:.1f} ± {x.top_sigma_mm:.1f} mm** | "
        f"{_say_ml(x.volume_ml, x.volume_sigma_ml)} |"
        for x in reversed(sizes)
    )
    st.markdown(f"| layer | above the inner floor | volume |\n|---|---|---|\n{rows}")
    frame, by = reading.jar, "the reference card" if "card" in reading.flags else "the jar's diameter"
    st.caption(
        f"Scale by {by}: {reading.mm_per_px:.4g} ± {reading.mm_per_px_sigma:.2g} mm a row; inner floor in row {frame.floor_px:.0f}, "
        f"surface in row {frame.surface_px:.0f}."
    )


def _say_ml(value: float, sigma: float) -> str:
    return "not known" if math.isnan(value) else f"{value:.0f} ± {sigma:.0f} mL"


def say_flags(reading: Reading) -> None:
    """What the photo suffers from, and what to do about it."""
    told = [
        f
        for f in REGISTER
        if f.name in reading.flags and f.name not in ("set by hand", "carried over", "card")
    ]
    if told:
        st.markdown("\n".join(f"- {f.says} {f.do}" for f in told))
