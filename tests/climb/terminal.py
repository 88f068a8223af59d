"""A real pseudo-terminal with ``firstglow climb`` at its other end, read screen by screen."""

import codecs
import os
import pty
import re
import select
import subprocess
import sys
import time
from pathlib import Path
from typing import Self

HERE = Path(__file__).parent
CLEAR = "\x1b[2J\x1b[H"


class Screen:
    """One program in a terminal of 80 by 24."""

    def __init__(self, *words: str | Path) -> None:
        ours, theirs = pty.openpty()
        import fcntl
        import struct
        import termios

        fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.fd = ours
        self.process = subprocess.Popen(
            [sys.executable, str(HERE / "at_a_terminal.py"), "climb", *map(str, words)],
            stdin=theirs, stdout=theirs, stderr=theirs, close_fds=True, start_new_session=True,
        )  # fmt: skip
        os.close(theirs)
        self.raw = ""
        self._decoder = codecs.getincrementaldecoder("utf-8")("replace")
        self.widest = 0

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self.fd)

    def _read(self, seconds: float) -> bool:
        if not select.select([self.fd], [], [], seconds)[0]:
            return False
        try:
            data = os.read(self.fd, 65536)
        except OSError:
            return False
        self.raw += self._decoder.decode(data)  # a letter may be cut between two reads
        return bool(data)

    @property
    def text(self) -> str:
        """The screen as it stands."""
        return self.raw.rpartition(CLEAR)[2].replace("\r\n", "\n")

    def wait(self, pattern: str, seconds: float = 30.0) -> str:
        """The screen once it shows this and waits for an answer."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            if re.search(pattern, self.text) and re.search(r"\n> \S*$", self.text):
                return self.text
            if not self._read(0.2) and self.process.poll() is not None and not self._read(0.1):
                break
        raise AssertionError(f"never seen: {pattern}\n{self.text}\n(exit {self.process.poll()})")

    def send(self, keys: str) -> str:
        """Keys, then the screen after the next one is drawn."""
        drawn = self.raw.count(CLEAR)
        os.write(self.fd, keys.encode())
        end = time.monotonic() + 20.0
        while self.raw.count(CLEAR) == drawn or not re.search(r"\n> \S*$", self.text):
            if time.monotonic() > end or (not self._read(0.2) and self.process.poll() is not None):
                break
        lines = self.text.split("\n")
        self.widest = max(self.widest, *map(len, lines))
        return self.text

    def ended(self, seconds: float = 20.0) -> int:
        """The exit code, once it has ended."""
        end = time.monotonic() + seconds
        while self.process.poll() is None and time.monotonic() < end:
            self._read(0.1)
        while self._read(0.1):
            pass
        code = self.process.poll()
        assert code is not None, self.text
        return code
