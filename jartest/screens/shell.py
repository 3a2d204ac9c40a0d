"""The frame around every screen: one recorder, the list of screens, one error box."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import streamlit as st

from jartest.recorder import Recorder
from jartest.screens import (
    all_tests,
    bench,
    help_page,
    history,
    jar_list,
    new_test,
    one_photo,
    one_test,
    opinion,
    shelf,
    state,
    tank_card,
)
from jartest.screens.parts import error_box, way_within
from jartest.screens.web import web_text
from jartest.screens.who import ask_login
from jartest.settings import Settings, open_recorder, read_settings

__all__ = ["SCREENS", "Screen", "run"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Screen:
    """One screen: the last part of its address, its title, how it is drawn, whether the menu names it."""

    path: str
    title: str
    render: Callable[[Recorder], None]
    in_menu: bool = True


SCREENS = (
    Screen(path="bench", title="Bench", render=bench.render),
    Screen(path="new", title="New test", render=new_test.render),
    Screen(path="test", title="Test", render=one_test.render, in_menu=False),
    Screen(path="card", title="Tank cards", render=tank_card.render),
    Screen(path="shelf", title="Shelf", render=shelf.render),
    Screen(path="jars", title="Jars", render=jar_list.render),
    Screen(path="tests", title="All tests", render=all_tests.render),
    Screen(path="history", title="History", render=history.render),
    Screen(path="photo", title="One photo", render=one_photo.render),
    Screen(path="opinion", title="Second opinion", render=opinion.render),
    Screen(path="help", title="Help", render=help_page.render),
)

_NEAR = (
    "bench",
    "new",
    "tests",
    "history",
)  # the places that a phone's menu names; the rest are under "More"


@st.cache_resource(max_entries=2, show_spinner=False)
def _recorder(settings: Settings, _opened: Callable[[Settings], Recorder]) -> Recorder:
    return _opened(settings)


def run(opened: Callable[[Settings], Recorder] = open_recorder) -> None:
    """Draw the screen that the address names, over the recorder that `opened` gives."""
    st.set_page_config(page_title="jartest", page_icon="🫙", layout="wide")
    st.html(f"<style>{web_text('look.css')}</style>")
    if ask_login():
        return
    pages = {s.path: _page(s, opened) for s in SCREENS}
    state.put(state.PAGES, pages)
    page = st.navigation(list(pages.values()), position="hidden")
    here = next(path for path, p in pages.items() if p is page)
    state.put(state.HERE, here)
    _draw_menu(pages, here)
    page.run()


def _draw_menu(pages: dict[str, st.Page], here: str) -> None:
    """The menu: on a desk every screen; on a phone four places and "More", which the style sheet sees to."""
    listed = [s for s in SCREENS if s.in_menu]
    with st.container(horizontal=True, gap="small", key="nav"):
        for s in listed:
            place = f"{'here' if s.path == here else s.path}{'' if s.path in _NEAR else '-far'}"
            with st.container(key=f"menu-{place}", width="content"):
                _draw_way(pages[s.path], s, here=s.path == here, key="menu")
        with st.container(key="menu-more", width="content"), st.popover("More"):
            for s in listed:
                if s.path not in _NEAR:
                    _draw_way(pages[s.path], s, here=s.path == here, key="more")


def _draw_way(page: st.Page, screen: Screen, *, here: bool, key: str) -> None:
    if here and len(st.query_params):
        way_within(screen.title, key=state.key("way", key))
    else:
        st.page_link(page, width="content" if key == "menu" else "stretch")


def _page(screen: Screen, opened: Callable[[Settings], Recorder]) -> st.Page:
    def draw() -> None:
        with error_box():
            screen.render(_recorder(read_settings(), opened))

    default = screen.path == "bench"
    return st.Page(draw, title=screen.title, url_path=None if default else screen.path, default=default)
