"""The head of a page says how its own rung stands where that is less than the socket's mains."""

import re
from pathlib import Path

from at_hand import built
from firstglow.amplifier import load
from firstglow.sheets.ladder_sheet import ladder_sheet

ROWAN = Path(__file__).parent.parent / "data" / "rowan-nine.toml"


def test_a_rung_below_the_sockets_mains_says_so_on_each_of_its_pages() -> None:
    made = built(load(ROWAN), mode="fast").document
    pages = re.findall(r'data-rung="(\w+)".*?<span>(mains [^<]*)</span>', ladder_sheet(made))
    stands = {r["id"]: r["situation"]["mains_volts"] for r in made["rungs"]}
    assert {stands[rung] for rung, _ in pages if rung in stands} > {0.0, 240.0}
    for rung, text in pages:
        here = stands.get(rung, 240.0)
        wanted = {240.0: "mains 240 V", 0.0: "mains 240 V, here unplugged"}.get(here, f"mains 240 V, here {here:g} V")
        assert text == wanted, rung
