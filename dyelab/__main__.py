"""Lets ``python -m dyelab`` stand in for the ``dyelab`` command."""

from dyelab.cli import main

main()
