"""``firstglow climb`` with a clock that runs faster than life: nothing else is changed. Run by the terminal tests."""

import sys
import time
from datetime import datetime, timedelta

from firstglow.cli import talk
from firstglow.records import record

FASTER = 3000.0
START = datetime(2026, 11, 25, 15, 0).astimezone()
BEGAN = time.monotonic()


def fast() -> datetime:
    """Now, by the fast clock."""
    return START + timedelta(seconds=FASTER * (time.monotonic() - BEGAN))


record.now = fast
talk.TURN_S = 0.01
talk.time.sleep = lambda seconds, sleep=time.sleep: sleep(seconds / FASTER)

from firstglow.cli.main import run  # noqa: E402 - after the clock

sys.argv[0] = "firstglow"
run()
