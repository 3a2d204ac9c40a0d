"""`python -m jartest` is the command line."""

from jartest.cli import main

main()
