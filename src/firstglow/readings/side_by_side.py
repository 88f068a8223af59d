"""Independent pieces of one computation on as many processors as there are, by forking where that is sound."""

import multiprocessing
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any, TypeVar

T = TypeVar("T")

# More pieces at once than this gain nothing here: the memory's bandwidth is shared.
MOST = 4
PARENT_DEATH_SIGNAL = 1


def processors() -> int:
    """How many pieces may run at once: 1 where forking is not sound (other systems, threads running, a forked child)."""
    if sys.platform != "linux" or threading.active_count() > 1 or multiprocessing.parent_process() is not None:
        return 1
    return min(MOST, len(os.sched_getaffinity(0)))


def shared_out(work: Iterable[T], cost: Callable[[T], float]) -> list[list[T]]:
    """Work in as many shares as there are processors, none empty, each about the same cost."""
    shares: list[list[T]] = [[] for _ in range(processors())]
    loads = [0.0] * len(shares)
    for piece in sorted(work, key=cost, reverse=True):
        least = loads.index(min(loads))
        shares[least].append(piece)
        loads[least] += cost(piece)
    return [share for share in shares if share]


def side_by_side(pieces: Sequence[Callable[[], T]]) -> list[T]:
    """The results of all pieces, in order; all but the last in forked children. A child's exception is raised here."""
    if len(pieces) < 2 or processors() < 2:
        return [piece() for piece in pieces]
    running = [_forked(piece) for piece in pieces[:-1]]
    last = pieces[-1]()
    return [*(_told(child, ours) for child, ours in running), last]


def _forked(piece: Callable[[], Any]) -> tuple[Any, Any]:
    """A child at work on a piece, and the pipe's end at which it tells."""
    context = multiprocessing.get_context("fork")
    ours, theirs = context.Pipe(duplex=False)
    child = context.Process(target=_run, args=(piece, theirs))
    with warnings.catch_warnings():
        # Python 3.12 warns of any thread at a fork; numpy's own idle ones are prepared for it
        warnings.simplefilter("ignore", DeprecationWarning)
        child.start()
    theirs.close()
    return child, ours


def _told(child: Any, ours: Any) -> Any:
    """What a child has to tell; its exception is raised here."""
    try:
        good, result = ours.recv()
    except EOFError:
        good, result = False, RuntimeError("a piece of the computation died")
    child.join()
    if not good:
        raise result
    return result


@contextmanager
def meanwhile(piece: Callable[[], T]) -> Iterator[Callable[[], T]]:
    """A piece that is worked out beside what the ``with`` block does, which asks for its result as often as it wants it: in
    a forked child, or where there is but one processor when it is first asked. What is never asked for is given up."""
    if processors() < 2:
        yield cache(piece)
        return
    child, ours = _forked(piece)
    try:
        yield cache(lambda: _told(child, ours))
    finally:
        if child.is_alive():
            child.terminate()
        child.join()


def _run(piece: Callable[[], Any], pipe: Any) -> None:
    _go_with_the_parent()
    try:
        pipe.send((True, piece()))
    except BaseException as error:
        pipe.send((False, error))
    finally:
        pipe.close()


def _go_with_the_parent() -> None:
    """A parent that is killed takes this child with it: nobody is left to tell the result to (prctl(2), Linux)."""
    import ctypes

    ctypes.CDLL(None).prctl(PARENT_DEATH_SIGNAL, signal.SIGTERM)
    parent = multiprocessing.parent_process()
    if parent is not None and os.getppid() != parent.pid:  # it went before this was said
        os._exit(1)
