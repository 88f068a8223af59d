"""Its presence puts tests/ on the path: any test may ``from builders import ...``. The dearest files are run first."""

from collections.abc import Sequence

import pytest

import firstglow.cli.main  # noqa: F401 - one thread for linear algebra, set before numpy is loaded

# Files of ten seconds or more, the dearest first (`pytest --durations=0`): a worker that took one of them last would leave
# the others idle. A file that is not named here only comes later.
DEAREST = (
    "test_dangers_climbed", "test_rehearsal", "test_proof", "test_expected_and_stop", "test_narrow", "test_parts_command",
    "test_incoming_command", "test_start_and_discharge", "test_remedies", "test_walk", "test_sparse", "test_must_fall",
    "test_commands", "test_width", "test_changed", "test_parts_checks", "test_doubler_waveform", "test_mains_command",
    "test_mains_rises", "test_climb_by_lines", "test_supply_waveforms", "test_accuracy", "test_dangers", "test_sheet_in_browser",
    "test_parts_planted", "test_planted", "test_second_newcomer", "test_second_solutions", "test_mains_planted",
    "test_third_newcomer", "test_parts_neighbours", "test_choke_input", "test_terminal", "test_cold_shorts", "test_drains",
    "test_spoken", "test_supply_ripple", "test_bias",
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
