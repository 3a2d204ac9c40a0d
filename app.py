"""The app: `jartest app` runs this file."""

from jartest.screens.shell import run

run()
