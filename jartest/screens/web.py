"""The pieces of page that run in the browser: texts of the files in `web/`."""

from __future__ import annotations

from importlib import resources

__all__ = ["web_text"]


def web_text(name: str) -> str:
    """The text of one file of the folder `web`."""
    return resources.files("jartest.screens").joinpath("web", name).read_text("utf-8")
