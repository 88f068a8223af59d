"""One writer a file: the operating system holds the lock and lets go of it when the writer dies."""

import sys


def lock(handle: int) -> bool:
    """Take the exclusive lock of an open file; False where another process has it."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
