"""``firstglow climb`` in this process with a clock that runs faster than life (as ``at_a_terminal.py`` in its own)."""

import subprocess
import time
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace
from unittest import mock

from at_hand import firstglow
from firstglow.cli import talk
from firstglow.records import record

FASTER = 3000.0
START = datetime(2026, 11, 25, 15, 0).astimezone()
BEGAN = time.monotonic()


def _fast() -> datetime:
    return START + timedelta(seconds=FASTER * (time.monotonic() - BEGAN))


def climb_fast(*words: str | Path, typed: str = "", code: int = 0) -> subprocess.CompletedProcess[str]:
    """What it says and its exit code."""
    slept = SimpleNamespace(**{n: getattr(time, n) for n in dir(time) if not n.startswith("_")})
    slept.sleep = lambda seconds: time.sleep(seconds / FASTER)
    with (
        mock.patch.object(record, "now", _fast),
        mock.patch.object(talk, "TURN_S", 0.01),
        mock.patch.object(talk, "time", slept),
    ):
        return firstglow("climb", *words, typed=typed, code=code)
