"""Its presence puts tests/ on the path: any test may ``from builders import ...``. The dearest files are run first."""

from collections.abc import Sequence

import pytest

import firstglow.cli.main  # noqa: F401 - one thread for linear algebra, set before numpy is loaded

# Files of eight seconds or more, the dearest first (`pytest --durations=0`): a worker that took one of them last would leave
# the others idle. A file that is not named here only comes later.
DEAREST = (
    "test_rehearsal", "test_expected_and_stop", "test_parts_command", "test_proof", "test_narrow", "test_changed",
    "test_walk", "test_start_and_discharge", "test_sparse", "test_incoming_command", "test_dangers_climbed",
    "test_mains_rises", "test_remedies", "test_dangers", "test_planted", "test_doubler_waveform",
    "test_parts_planted", "test_terminal", "test_must_fall", "test_commands", "test_sheet_in_browser", "test_width",
    "test_accuracy", "test_mains_planted", "test_mains_command", "test_parts_checks", "test_parts_neighbours",
    "test_choke_input", "test_bias", "test_supply_waveforms", "test_second_solutions", "test_drains",
    "test_third_newcomer", "test_cold_shorts", "test_climb_by_lines", "test_spoken", "test_second_newcomer",
    "test_jsonl", "test_supply_ripple", "test_dials",
)  # fmt: skip


def pytest_configure(config: pytest.Config) -> None:
    """In the order below, and not by the number of tests in a file."""
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: Sequence[pytest.Item]) -> None:
    """The dearest files first; within a file nothing moves."""
    place = {name: n for n, name in enumerate(DEAREST)}
    items.sort(key=lambda item: place.get(item.path.stem, len(DEAREST)))  # type: ignore[attr-defined]
