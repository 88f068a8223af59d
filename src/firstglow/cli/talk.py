"""How a climb talks: a terminal that is read key by key, or lines from a pipe; plain text, or one event a line."""

import json
import os
import select
import sys
import time
from collections.abc import Callable, Sequence
from typing import Any, Literal, Protocol, Self

from firstglow.records.record import Record

Screen = Callable[[], Sequence[str]]
Said = Literal["line", "safe", "tick", "end"]

CLEAR = "\x1b[2J\x1b[H"
ESC, SPACE, ENTER, BACKSPACE, END = "\x1b", " ", "\r\n", "\x7f\b", "\x04"
TURN_S = 1.0  # between two pictures of a countdown
LAST_MINUTE, CALM_TURNS = 60.0, 10.0  # s; a longer wait under power is drawn again so many times more rarely
ESC_SEQUENCE_S = 0.03  # an arrow key sends its letters at once; a finger on Esc sends nothing after it


class Talk(Protocol):
    """What the climb needs of a person's end."""

    def ask(self, screen: Screen, ask: dict[str, Any], seconds: float | None) -> tuple[Said, str]:
        """Show a screen and take an answer. seconds: come back with "tick" after that long at the latest (a countdown), None never.

        ("line", text), ("safe", "") for the one key, ("tick", ""), ("end", "") where nobody answers any more.
        """
        ...

    def say(self, lines: Sequence[str]) -> None:
        """Lines that no answer follows."""
        ...

    def busy(self, line: str) -> None:
        """What is being worked out, to somebody who waits at a terminal; a pipe does not wait."""
        ...

    def kept(self, records: Sequence[Record]) -> None:
        """Records that were just kept."""
        ...


class Lines:
    """Answers from a pipe, a line each. as_json: events on stdout instead of screens."""

    def __init__(self, as_json: bool = False, sleep: Callable[[float], None] | None = None) -> None:
        self._json, self._sleep = as_json, sleep or time.sleep

    def ask(self, screen: Screen, ask: dict[str, Any], seconds: float | None) -> tuple[Said, str]:
        """Show, wait where there is something to wait for, and read one line."""
        if self._json:
            _out(json.dumps(ask, ensure_ascii=False, allow_nan=False))
        else:
            self.say(screen())
        if seconds is not None:
            # nothing is read while a wait runs: a line that came early answers what is asked after it
            self._sleep(seconds)
            return "tick", ""
        line = sys.stdin.readline()
        return ("line", line.rstrip("\r\n")) if line else ("end", "")

    def say(self, lines: Sequence[str]) -> None:
        """On stdout; with events, on stderr."""
        for line in (*lines, ""):
            (_err if self._json else _out)(line)

    def busy(self, line: str) -> None:
        """Nobody looks on."""

    def kept(self, records: Sequence[Record]) -> None:
        """One event a line."""
        for record in records if self._json else ():
            _out(json.dumps(record.json(), ensure_ascii=False, allow_nan=False))


class Terminal:
    """A terminal, read key by key so that one key makes safe at any moment. Use as a context."""

    def __init__(self) -> None:
        self._input = sys.stdin.fileno()
        self._before: list[Any] | None = None
        self._typed = ""
        self._paged = ""
        self._ticked = False

    def __enter__(self) -> Self:
        import termios
        import tty

        self._before = termios.tcgetattr(self._input)
        tty.setcbreak(self._input, termios.TCSANOW)
        return self

    def __exit__(self, *_: object) -> None:
        import termios

        if self._before is not None:
            termios.tcsetattr(self._input, termios.TCSANOW, self._before)
        _out("")

    def ask(self, screen: Screen, ask: dict[str, Any], seconds: float | None) -> tuple[Said, str]:
        """Draw, and read keys; "tick" after a second at most while something runs down, what is typed stays."""
        lines = screen()
        if ask["data"].get("kind") == "before":
            key = str(ask["data"]["stage"])
            if (early := self._pages(lines, key)) is not None:
                return early
            lines = self._last_page(lines, key)
        # nothing is drawn under an answer that is just being typed
        if not (self._ticked and self._pending()):
            self._draw(lines)
        # what is waited for under power is drawn again as it runs down, and asked for all the while
        left = seconds if seconds is not None else float(ask["data"].get("left") or 0.0) or None
        turn = TURN_S if seconds is not None or (left or 0.0) <= LAST_MINUTE else CALM_TURNS * TURN_S
        found = self._keys(None if left is None else min(turn, left))
        self._ticked = found is None
        return ("tick", "") if found is None else found

    def _pages(self, lines: Sequence[str], key: str) -> tuple[Said, str] | None:
        """What does not fit on the screen, a screenful at a time, once for a set-up (``key``); what was answered instead
        of reading on. A figure typed before the rest is read stays typed: it is taken at the end of it."""
        rows = os.get_terminal_size(self._input).lines - 1
        if len(lines) <= rows or key == self._paged:
            return None
        for start in range(0, len(lines) - rows, rows - 1):
            self._draw([*lines[start : start + rows - 1], "Enter: the rest of it"])
            found = self._keys(None)
            if found is not None and found[1].strip()[:1].isdigit():
                self._typed = found[1]
            elif found is not None and (found[0] != "line" or found[1].strip()):
                return found
        self._paged = key
        return None

    def _last_page(self, lines: Sequence[str], key: str) -> Sequence[str]:
        """What is left of a card once it was paged through: its top lines, and as much of its end as fits."""
        rows = os.get_terminal_size(self._input).lines - 1
        if len(lines) <= rows or key != self._paged:
            return lines
        top = next((n + 1 for n, line in enumerate(lines) if line and not line.strip("─")), 0)
        return [*lines[:top], *lines[len(lines) - rows + top :]]

    def say(self, lines: Sequence[str]) -> None:
        """Below what is there."""
        for line in lines:
            _out(line)

    def busy(self, line: str) -> None:
        """Below what is there."""
        _out(line)

    def kept(self, records: Sequence[Record]) -> None:
        """A terminal shows what they led to."""

    def _draw(self, lines: Sequence[str]) -> None:
        sys.stdout.write(CLEAR + "\n".join(lines) + f"\n> {self._typed}")
        sys.stdout.flush()

    def _keys(self, seconds: float | None) -> tuple[Said, str] | None:
        """Keys until an answer is whole; None when ``seconds`` are over."""
        end = None if seconds is None else time.monotonic() + seconds
        while True:
            left = None if end is None else max(0.0, end - time.monotonic())
            if not select.select([self._input], [], [], left)[0]:
                return None
            key = self._key()
            if key is None:
                return "end", ""
            found = self._pressed(key)
            if found is not None:
                return found

    def _pressed(self, key: str) -> tuple[Said, str] | None:
        if key == ESC:
            if self._more():
                self._swallow()
                return None
            self._typed = ""
            return "safe", ""
        if key == SPACE and not self._typed:
            return "safe", ""
        if key in ENTER:
            text, self._typed = self._typed, ""
            _out("")
            return "line", text
        if key in BACKSPACE:
            self._typed = self._typed[:-1]
            sys.stdout.write("\b \b")
        elif key == END and not self._typed:
            return "end", ""
        elif key.isprintable():
            self._typed += key
            sys.stdout.write(key)
        sys.stdout.flush()
        return None

    def _key(self) -> str | None:
        """One character, None where the terminal is gone."""
        first = self._byte()
        if not first:
            return None
        more = next((n for n, top in ((3, 0xF0), (2, 0xE0), (1, 0xC0)) if first[0] >= top), 0)
        return (first + b"".join(self._byte() for _ in range(more))).decode("utf-8", "replace")

    def _byte(self) -> bytes:
        try:
            return os.read(self._input, 1)
        except OSError:
            return b""

    def _pending(self) -> bool:
        return bool(select.select([self._input], [], [], 0.0)[0])

    def _more(self) -> bool:
        return bool(select.select([self._input], [], [], ESC_SEQUENCE_S)[0])

    def _swallow(self) -> None:
        """The rest of an arrow key's letters."""
        while self._more():
            letter = self._byte()
            if not letter or letter.isalpha() or letter == b"~":
                return


class Worded:
    """A person's end that speaks a bench's own words; events keep ours."""

    def __init__(self, talk: Talk, said: Callable[[str], str]) -> None:
        self._talk, self._said = talk, said

    def ask(self, screen: Screen, ask: dict[str, Any], seconds: float | None) -> tuple[Said, str]:
        """As it is asked."""
        return self._talk.ask(lambda: self._said("\n".join(screen())).split("\n"), ask, seconds)

    def say(self, lines: Sequence[str]) -> None:
        """As it is said."""
        self._talk.say(self._said("\n".join(lines)).split("\n") if lines else [])

    def busy(self, line: str) -> None:
        """As it is said."""
        self._talk.busy(self._said(line))

    def kept(self, records: Sequence[Record]) -> None:
        """As it is kept."""
        self._talk.kept(records)


def _out(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def _err(line: str) -> None:
    sys.stderr.write(f"{line}\n")
    sys.stderr.flush()
