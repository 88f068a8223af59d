"""Dear results once a worker, and the command line without a new process: the same figures, worked out once.

Any test may ``from at_hand import built, firstglow``. A test that compares two independent computations, or that changes
something inside the program first, builds its own with ``firstglow.ladder.ladder.build``.
"""

import contextlib
import inspect
import io
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial, wraps
from pathlib import Path
from typing import Any, TypeVar
from unittest import mock

import firstglow.amplifier as amplifiers
import firstglow.cli.main as front
from firstglow.accuracy import study as studies
from firstglow.accuracy.row import AccuracyRow
from firstglow.amplifier import Amplifier, Bench
from firstglow.audit import bias, fuse, incoming, mains_now, parts, stored, ways
from firstglow.audit import cold_start as cold_starts
from firstglow.audit.cold_start import ColdStart
from firstglow.audit.parts import Audit
from firstglow.cli import mains
from firstglow.ladder import asking
from firstglow.ladder import ladder as ladders
from firstglow.ladder.fall import Fall, fall
from firstglow.ladder.frame import Frame
from firstglow.ladder.ladder import Ladder

ROOT = Path(__file__).parent.parent
T = TypeVar("T")
MOST = 24  # of each at a time: a ladder takes some 15 MB
EXAMPLES = 40  # of each, beside them, of the examples as they lie: files far apart ask for the same


def shared(really: Callable[..., T], written: Callable[[T], object] = lambda result: None) -> Callable[..., T]:
    """``really`` with its own arguments; what was made of the same ones is handed out again.

    The key is everything that the arguments hold (their whole repr: the amplifier's parts and lines, the bench), not a
    digest of parts of it; only where an amplifier's file lies, which nothing but a mistake's message tells, is left out.
    written: what of the result a test could write on; one that did is caught at the next use.
    """
    signature, kept = inspect.signature(really), dict[tuple[str, ...], tuple[T, str]]()
    examples = set[tuple[str, ...]]()

    def at_hand(*given: Any, **named: Any) -> T:
        call = signature.bind(*given, **named)
        call.apply_defaults()
        key = tuple(repr(replace(v, file="") if isinstance(v, Amplifier) else v) for v in call.arguments.values())
        if key in kept:
            result, seal = kept.pop(key)
            assert repr(written(result)) == seal, "a test wrote on a result that others share"
        else:
            result = really(*given, **named)
            seal = repr(written(result))
        kept[key] = (result, seal)
        if len(examples) < EXAMPLES and any("examples/" in getattr(v, "file", "") for v in call.arguments.values()):
            examples.add(key)
        while len(kept) > MOST + len(examples):
            kept.pop(next(k for k in kept if k not in examples))
        return result

    return at_hand


def sorrel_of_500_volts() -> str:
    """Example (c) with its three HT electrolytics of 500 V for 550, which its own cold start rings past: C3 past its surge
    volts, C2 with less to spare than is asked, and healthy readings above working volts. The example itself has none such."""
    text = (ROOT / "examples" / "c-sorrel-twenty.toml").read_text(encoding="utf-8")
    for drawn in ('C2 = ["47u 550V"', 'C3 = ["47u 550V"', 'C4 = ["22u 550V"'):
        assert text.count(drawn) == 1, drawn
        text = text.replace(drawn, drawn.replace("550V", "500V"))
    return text


def linden_of_one_channel() -> str:
    """Example (a) without its right channel, for what one channel shows as well as two: half of the unknowns."""
    text = (ROOT / "examples" / "a-linden-twin.toml").read_text(encoding="utf-8")
    only_rights = re.search(r"^\[names\]\n.*?(?=^# What was measured)", text, re.MULTILINE | re.DOTALL)
    assert only_rights is not None
    for drawn, left in (
        (only_rights[0], ""),
        ('channels = ["left", "right"]', 'channels = ["left"]'),
        ('"right R25" = "10R2", ', ""),
    ):
        assert text.count(drawn) == 1, drawn
        text = text.replace(drawn, left)
    return text


_ladder: Callable[..., Ladder] = shared(ladders.build, lambda ladder: ladder.document)


def built(
    amplifier: Amplifier, bench: Bench | None = None, mains_now: float | None = None, meter: str | None = None, *more: Any,
    **named: Any,
) -> Ladder:  # fmt: skip
    """``ladder.build``, shared; what it takes without a bench (``Bench()``, the marked mains, a digital meter) may be said."""
    if bench is None or repr(bench) == repr(Bench()):
        bench, mains_now, meter = Bench(), mains_now or amplifier.mains_volts, meter or "digital"
    return _ladder(amplifier, bench, mains_now, meter, *more, **named)


FALLS: dict[tuple[int, str], tuple[Frame, Fall]] = {}


def fallen(frame: Frame, *given: Any) -> Fall:
    """``ladder.fall.fall``: of one ladder, the same stage and what was read in it, once, whoever climbs."""
    key = id(frame), repr(given)
    if key not in FALLS:  # the frame is held beside it: no other gets its number
        FALLS[key] = frame, fall(frame, *given)
    while len(FALLS) > 20 * MOST:
        FALLS.pop(next(iter(FALLS)))
    return FALLS[key][1]


asking.fall = fallen

really_audit, really_stood = parts.audit, ways.stood
standing: Callable[..., ways.Stood] = shared(ways.stood)


@shared
@wraps(really_stood)
def standing_cold(*given: Any, **named: Any) -> ways.Stood:
    """Without the hot restart, two thirds of a parts audit's time: for what no moment of it enters."""
    found = really_stood(*given, **named)
    found.__dict__["restart"] = None
    return found


@shared
@wraps(really_audit)
def audited(*given: Any, **named: Any) -> Audit:
    """On the solved ways that ``firstglow incoming`` has too: they hold their audit."""
    with mock.patch.object(parts, "stood", standing):
        return really_audit(*given, **named)


@shared
@wraps(really_audit)
def audited_cold(*given: Any, **named: Any) -> Audit:
    """The same without the hot restart, of the order list's amplifier too."""
    with mock.patch.object(parts, "stood", standing_cold), mock.patch.object(ways.Stood, "restart", None):
        return really_audit(*given, **named)


started: Callable[..., ColdStart] = shared(cold_starts.cold_start)
studied: Callable[..., tuple[AccuracyRow, ...]] = shared(studies.study)
today: Callable[..., mains_now.Today] = shared(mains_now.today)
on_mains: Callable[..., Any] = shared(mains.audit_of)

# What a whole command works out, and where it takes it from: its screen and its document are of one.
SHARED: tuple[tuple[Any, str, Callable[..., Any]], ...] = (
    (parts, "audit", audited), (parts, "stood", standing), (incoming, "stood", standing), (studies, "study", studied),
    (cold_starts, "cold_start", started), (stored, "at_worst", shared(stored.at_worst)),
    (bias, "design", shared(bias.design)), (mains, "audit_of", on_mains), (mains_now, "today", today),
    (fuse, "today_on", today),
)  # fmt: skip

COLD: tuple[tuple[Any, str, Any], ...] = (
    (ways.Stood, "restart", None), (parts, "audit", audited_cold), (parts, "stood", standing_cold), (incoming, "stood", standing_cold),
)  # fmt: skip


@contextlib.contextmanager
def _as_a_program(
    typed: str, root: Path, quick: bool, restart: bool
) -> Iterator[tuple[io.TextIOWrapper, io.TextIOWrapper]]:
    """Streams that are no terminal, 80 columns, in that directory; what is dear is shared."""
    out, err = (io.TextIOWrapper(io.BytesIO(), "utf-8", write_through=True) for _ in range(2))
    coming = io.TextIOWrapper(io.BytesIO(typed.encode()), "utf-8")
    with (
        mock.patch.object(sys, "stdin", coming),
        mock.patch.object(sys, "stdout", out),
        mock.patch.object(sys, "stderr", err),
        mock.patch.dict(os.environ, {"COLUMNS": "80"}),
        contextlib.ExitStack() as taken,
        contextlib.chdir(root),
    ):
        ladder = (ladders, "build", partial(built, mode="fast") if quick else built)
        for room, name, ours in (*SHARED, *(() if restart else COLD), ladder):
            taken.enter_context(mock.patch.object(room, name, ours))
        yield out, err


def firstglow(
    *words: str | Path,
    typed: str = "",
    code: int | None = 0,
    root: Path = ROOT,
    quick: bool = False,
    restart: bool = True,
) -> subprocess.CompletedProcess[str]:
    """``firstglow WORDS`` by its own front door (``cli.main.run``: exit codes, errors in one line each), in this process.

    code: the exit code it must end with (None: any). quick: bands by sensitivities where the command samples them and no
    figure of theirs is looked at. restart: whether a parts audit has its hot restart. An exception that ``run`` does not know is
    raised here.
    """
    arguments = ["firstglow", *map(str, words)]
    ended: int | str | None = 0
    with _as_a_program(typed, root, quick, restart) as (out, err), mock.patch.object(sys, "argv", arguments):
        try:
            front.run()
        except SystemExit as leaving:
            ended = leaving.code
    said, told = (stream.buffer.getvalue().decode() for stream in (out, err))  # type: ignore[attr-defined]
    done = subprocess.CompletedProcess(arguments, 0 if ended is None else int(ended), said, told)
    assert code is None or done.returncode == code, told[-2000:] + said[-500:]
    assert "Traceback" not in told
    return done


def edited(text: str, folder: Path, *swaps: tuple[str, str]) -> Amplifier:
    """An amplifier file with some of its text exchanged, each piece once."""
    for old, new in swaps:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    file = folder / "edited.toml"
    file.write_text(text, encoding="utf-8")
    return amplifiers.load(file)
