"""A file of another kind given as a readings file: its own line is told."""

import pytest

from firstglow.readings.meters import ReadingsError
from firstglow.readings.taken import parse_taken


def test_a_table_that_no_readings_file_has_is_told_on_its_own_line() -> None:
    """An amplifier file by mistake: its [parts] stands on line 4, and line 1 was told."""
    text = 'format = 1\namplifier = { name = "One" }\n\n[parts]\nR1 = ["1k", "a", "b"]\n'
    with pytest.raises(ReadingsError) as caught:
        parse_taken(text, "ok.toml")
    assert any(line.startswith('ok.toml:4: file: unknown key "parts"; ') for line in str(caught.value).splitlines())
