"""`python -m restitch`."""

from restitch.cli import main

main()
