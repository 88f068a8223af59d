"""What is live, in words: every valve of a group is told apart from the next."""

from firstglow.sheets.live import live_text


def test_valves_that_share_an_electrode_have_commas_and_an_and() -> None:
    """ "V3 V4 V7 plate" reads as one name of three words."""
    joints = ["HT1", "V3 plate", "V4 plate", "V7 plate", "V2 screen", "V1 screen"]
    live = [{"joint": j, "volts": 300.0, "kind": "dc"} for j in joints]
    assert live_text(live) == "LIVE about 300 V: HT1, V3, V4 and V7 plate, V2 and V1 screen"
