"""Dear results once a worker, and the command line without a new process: the same figures, worked out once.

Any test may ``from at_hand import built, firstglow``. A test that compares two independent computations, or that changes
something inside the program first, builds its own with ``firstglow.ladder.ladder.build``.
"""

import contextlib
import hashlib
import inspect
import io
import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any
from unittest import mock

import firstglow.cli.main as front
from firstglow.accuracy import study as studies
from firstglow.ladder import ladder as ladders
from firstglow.ladder.ladder import Ladder

ROOT = Path(__file__).parent.parent
_really = ladders.build
_signature = inspect.signature(_really)
_kept: dict[tuple[str, ...], tuple[Ladder, str]] = {}
MOST = 16  # ladders kept at a time: sheets of 2,000 samples are large


def _print(ladder: Ladder) -> str:
    return hashlib.sha256(repr(ladder.document).encode()).hexdigest()


def built(*given: Any, **named: Any) -> Ladder:
    """``ladder.build`` with every argument as there; one that was built of the same arguments is handed out again.

    The key is everything that the amplifier and the bench hold (their whole repr), not a digest of parts of it. A ladder
    that a test has written on is caught here.
    """
    call = _signature.bind(*given, **named)
    call.apply_defaults()
    key = tuple(repr(v) for v in call.arguments.values())
    if key in _kept:
        ladder, print_ = _kept.pop(key)
        assert _print(ladder) == print_, "a test wrote on a shared ladder"
    else:
        ladder = _really(*given, **named)
        print_ = _print(ladder)
    _kept[key] = (ladder, print_)
    while len(_kept) > MOST:
        _kept.pop(next(iter(_kept)))
    return ladder


@cache
def studied() -> Any:
    """The rows of the accuracy study."""
    return _really_studied()


_really_studied: Callable[[], Any] = studies.study


@contextlib.contextmanager
def _as_a_program(typed: str, root: Path) -> Iterator[tuple[io.TextIOWrapper, io.TextIOWrapper]]:
    """Streams that are no terminal, 80 columns, in that directory; what is dear is shared."""
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    coming = io.TextIOWrapper(io.BytesIO(typed.encode()), "utf-8")
    with (
        mock.patch.object(sys, "stdin", coming),
        mock.patch.object(sys, "stdout", out),
        mock.patch.object(sys, "stderr", err),
        mock.patch.dict(os.environ, {"COLUMNS": "80"}),
        mock.patch.object(ladders, "build", built),
        mock.patch.object(studies, "study", studied),
        contextlib.chdir(root),
    ):
        yield out, err


def firstglow(
    *words: str | Path, typed: str = "", code: int | None = 0, root: Path = ROOT
) -> subprocess.CompletedProcess[str]:
    """``firstglow WORDS`` by its own front door (``cli.main.run``: exit codes, errors in one line each), in this process.

    code: the exit code it must end with (None: any). An exception that ``run`` does not know is raised here.
    """
    arguments = ["firstglow", *map(str, words)]
    ended: int | str | None = 0
    with _as_a_program(typed, root) as (out, err), mock.patch.object(sys, "argv", arguments):
        try:
            front.run()
        except SystemExit as leaving:
            ended = leaving.code
    said, told = (stream.buffer.getvalue().decode() for stream in (out, err))  # type: ignore[attr-defined]
    done = subprocess.CompletedProcess(arguments, 0 if ended is None else int(ended), said, told)
    assert code is None or done.returncode == code, told[-2000:] + said[-500:]
    assert "Traceback" not in told
    return done
