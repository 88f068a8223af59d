"""Pieces of a computation in forked children: results in order, and no child outlives its parent."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

PARENT = """
import time
from firstglow.readings import side_by_side as beside
beside.processors = lambda: 2
beside.side_by_side([lambda: (print(__import__("os").getpid(), flush=True), time.sleep(60)), lambda: time.sleep(60)])
"""


def alive(pid: int) -> bool:
    """Is there such a process, one that is not merely waiting to be counted out?"""
    try:
        return Path(f"/proc/{pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.skipif(sys.platform != "linux", reason="children are forked on Linux alone")
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_a_killed_parent_takes_its_children_with_it(how: signal.Signals) -> None:
    with subprocess.Popen([sys.executable, "-c", PARENT], stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        child = int(parent.stdout.readline())
        assert alive(child)
        os.kill(parent.pid, how)
        parent.wait(10)
    end = time.monotonic() + 10.0
    while alive(child) and time.monotonic() < end:
        time.sleep(0.02)
    assert not alive(child)
