"""Lets ``python -m driveout`` do the same as the command ``driveout``."""

from driveout.app import main

main()
