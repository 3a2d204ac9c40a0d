"""Cameras of this machine: put to a jar on its screen, their heartbeats on the bench."""

from __future__ import annotations

from datetime import UTC, datetime

import streamlit as st

from jartest.field.cameras import heartbeats, posted, set_posted
from jartest.records.model import JarTest
from jartest.screens import state
from jartest.screens.parts import error_box, plain
from jartest.settings import read_settings

__all__ = ["draw_camera_choice", "draw_heartbeats"]


def draw_camera_choice(test: JarTest) -> None:
    """Put a camera of this machine to the test, or take it away."""
    home = read_settings().home
    mine = [p.camera for p in posted(home) if p.test_id == test.id]
    with st.expander("Watch it with a camera of the shop's machine"):
        st.markdown(
            "The camera takes the planned looks, and a photo at once when the jar moved or the picture went dark. "
            "It goes on when the app is started again. Turn lights on that stay on."
        )
        for camera in mine:
            if st.button(f"Take camera {camera} away", key=state.key("test", "camera", "away", camera)):
                with error_box():
                    set_posted(home, camera, None)
                    st.rerun()
        camera = st.number_input(
            "Number of the camera; 0 is the first", 0, 63, 0, key=state.key("test", "camera", "number")
        )
        if st.button("Watch with this camera", key=state.key("test", "camera", "put")):
            with error_box():
                set_posted(home, int(camera), test.id)
                st.rerun()


def draw_heartbeats(numbers: dict[str, int]) -> None:
    """How each camera stands; `numbers` are those of the tests on the bench, by their id."""
    home = read_settings().home
    told = {b.posted: b for b in heartbeats(home)}
    for one in posted(home):
        jar = f"jar {numbers[one.test_id]}" if one.test_id in numbers else "a jar that is not on the bench"
        beat = told.get(one)
        said = "not begun yet" if beat is None else beat.says(datetime.now(UTC))
        trouble = beat is not None and (bool(beat.trouble) or said.startswith("silent"))
        st.markdown(f"{'▲' if trouble else '✓'} **Camera {one.camera}** at {jar}: {plain(said)}")
