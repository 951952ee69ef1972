"""``python -m vibetrend`` is the command line."""

from vibetrend.cli import main

main()
