"""The app's screens on a clock that a test sets ahead."""

from clocked import opened

from jartest.screens.shell import run

run(opened)
