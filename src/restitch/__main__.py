"""`python -m restitch`."""

from restitch.cli import program

program()
