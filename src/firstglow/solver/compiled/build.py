"""Builds the library beside its source: ``python src/firstglow/solver/compiled/build.py``; ``pip`` runs it too (hatch_build.py).

Nothing but the standard library: where it runs, nothing else may be there yet.
"""

import hashlib
import os
import sys
from pathlib import Path

FOLDER = Path(__file__).parent
SOURCES = ("lanes.h", "laws.h", "cells.h", "cycle.c", "elimination.c")
LIBRARY = "kernel.so"
FLAGS = ("-O3", "-fno-math-errno", "-fno-trapping-math", "-fopenmp-simd", "-shared", "-fPIC")


def digest() -> str:
    """What a library must bear to belong to this source: an older one takes other arguments, or gives other numbers."""
    found = hashlib.sha256()
    for name in SOURCES:
        found.update((FOLDER / name).read_bytes())
    return found.hexdigest()[:16]


def build() -> str:
    """What became of it, in a line. Nothing is left half made: the library is moved to its place when it is whole."""
    import shutil  # here, as who only asks for ``digest`` is in a hurry
    import subprocess
    import tempfile

    compiler = next(
        (c for c in (os.environ.get("CC", ""), "cc", "gcc", "clang") if c and shutil.which(c.split()[0])), None
    )
    if compiler is None:
        return "no C compiler: numpy does the innermost loops"
    sources = [str(FOLDER / name) for name in SOURCES if name.endswith(".c")]
    handle, made = tempfile.mkstemp(suffix=".so", dir=FOLDER)
    os.close(handle)
    command = [
        *compiler.split(), *FLAGS, f'-DSOURCE="{digest()}"', "-o", made, *sources, "-lm"
    ]  # fmt: skip
    try:
        done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120)  # noqa: S603
    except (OSError, subprocess.TimeoutExpired) as error:
        Path(made).unlink()
        return f"{compiler} does not run ({error}): numpy does the innermost loops"
    if done.returncode:
        Path(made).unlink()
        return f"{compiler} refuses the source: numpy does the innermost loops\n{done.stderr}"
    Path(made).chmod(0o755)
    Path(made).replace(FOLDER / LIBRARY)
    return f"built {FOLDER / LIBRARY} with {compiler}"


if __name__ == "__main__":
    print(build())  # noqa: T201
    sys.exit(0 if (FOLDER / LIBRARY).is_file() else 1)
