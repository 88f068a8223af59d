"""Slow studies, each with its own command. One thread for linear algebra, as the commands run: see cli/main.py."""

import firstglow.cli.main  # noqa: F401 - sets that before numpy is loaded
