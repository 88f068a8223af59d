"""Its presence puts tests/ on the path: any test may ``from builders import ...``. The dearest files are run first."""

import gc
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from xdist.scheduler import LoadFileScheduling

import firstglow.amplifier
import firstglow.cli.main  # one thread for linear algebra, set before numpy is loaded
from firstglow.amplifier import Amplifier, reading

# Files of eight seconds or more, the dearest first (`pytest --durations=0`): a worker that took one of them last would leave
# the others idle. A file that is not named here only comes later.
DEAREST = (
    "test_parts_second_newcomer", "test_incoming_unfit", "test_stops_that_stay", "test_rehearsal", "test_parts_command",
    "test_parts_proposals", "test_parts_order",
    "test_expected_and_stop", "test_walk", "test_start_and_discharge", "test_sparse", "test_bias", "test_proof",
    "test_dangers", "test_narrow", "test_parts_planted", "test_incoming_command", "test_mains_rises", "test_mains_command",
    "test_planted", "test_must_fall", "test_real", "test_mains_planted", "test_changed", "test_dangers_climbed",
    "test_words_fit", "test_dials", "test_accuracy", "test_parts_neighbours", "test_fuzz", "test_remedies", "test_one_wait",
    "test_doubler_waveform", "test_commands", "test_without_a_capacitor", "test_width", "test_cold_shorts",
    "test_second_solutions", "test_every_layer", "test_supply_waveforms", "test_every_fault", "test_parts_checks",
    "test_terminal", "test_drains", "test_bare_waveform", "test_random_roles", "test_second_law", "test_loop_sign",
    "test_choke_input", "test_pumps", "test_third_newcomer", "test_cold_diodes", "test_spoken", "test_supply_ripple",
    "test_sheet_in_browser", "test_averaged_waveform", "test_jsonl", "test_parts_dc_heaters", "test_bias_refused",
    "test_discharge_parted", "test_every_start", "test_found_by_others", "test_windings_and_fuses", "test_parts_together",
    "test_ht_fuse_place", "test_valve_fits", "test_bad_legs", "test_leaning", "test_smoothed",
)  # fmt: skip

# Files that want the same dear things stay together on one worker.
FAMILIES = dict.fromkeys(
    ("test_parts_command", "test_parts_proposals", "test_parts_order", "test_parts_neighbours", "test_parts_second_newcomer",
     "test_refused_words", "test_mains_command", "test_mains_planted", "test_one_wait", "test_start_and_discharge",
     "test_bias_late", "test_reform", "test_incoming_command", "test_incoming_unfit", "test_every_start", "test_parts_together",
     "test_windings_and_fuses", "test_parts_reversed"),
    "audits",
) | dict.fromkeys(("test_expected_and_stop", "test_coarse", "test_cold_shorts"), "needles") | dict.fromkeys(
    ("test_learn", "test_one_cause", "test_leaning"), "learners"
)  # fmt: skip

# Reading example (a) takes a tenth of a second, and hundreds of tests and commands read the same three files. Tests of the
# reading itself read anew.
READERS = ("tests/amplifier/", "tests/structure/")
READ: dict[tuple[str, ...], tuple[Amplifier, str]] = {}
really = firstglow.amplifier.load


def load(path_or_text: str | Path | bytes, as_: str = "changed", name: str = "", meters: Any = None) -> Amplifier:
    """``firstglow.amplifier.load``; what the same text was read into is handed out again, as long as nobody wrote on it."""
    test = os.environ.get("PYTEST_CURRENT_TEST", "")
    text = path_or_text
    if isinstance(text, Path) or (isinstance(text, str) and "\n" not in text):
        text = Path(text).read_bytes() if Path(text).is_file() else ""
    if not text or test.startswith(READERS):
        return really(path_or_text, as_, name, meters)
    key = (repr(text), str(path_or_text), as_, name, repr(meters))
    amplifier, seal = READ.pop(key, (None, ""))
    if amplifier is None:
        amplifier = really(path_or_text, as_, name, meters)
        seal = repr(amplifier)
    assert repr(amplifier) == seal, "a test wrote on an amplifier that others share"
    READ[key] = amplifier, seal
    while len(READ) > 48:
        READ.pop(next(iter(READ)))
    return amplifier


firstglow.amplifier.load = reading.load = load

# Thousands of tests and some hundred ladders are all there to the end: looking through them for rubbish time and again took a
# quarter of the collection and a thirtieth of the tests.
gc.set_threshold(10_000, 10, 10)


def pytest_collection_finish() -> None:
    """What is collected stays."""
    gc.collect()
    gc.freeze()


class ByFamily(LoadFileScheduling):  # type: ignore[misc]
    """``--dist loadfile``, with some files of one family."""

    def _split_scope(self, nodeid: str) -> str:
        file = str(super()._split_scope(nodeid))
        return FAMILIES.get(Path(file).stem, file)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: object) -> object:
    """None: as the command line has it."""
    return ByFamily(config, log) if config.getvalue("dist") == "loadfile" else None


def pytest_configure(config: pytest.Config) -> None:
    """In the order below, and not by the number of tests in a file."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: Sequence[pytest.Item]) -> None:
    """The dearest files first; within a file nothing moves."""
    place = {name: n for n, name in enumerate(DEAREST)}
    items.sort(key=lambda item: place.get(item.path.stem, len(DEAREST)))  # type: ignore[attr-defined]
