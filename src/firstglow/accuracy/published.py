"""Complete published circuits against their own printed volts and currents (``examples/published``).

What the prints do not give (windings' ohms, droppers, choke) is chosen in the file and marked there; figures that stand
on it are shown, not scored. The 320 V of the 10 watts is scored: its source ohms are the rectifier maker's least.
"""

from collections.abc import Iterator
from importlib.resources import files

import numpy as np

from firstglow.accuracy.bench import Solved, either, expanded, solve_with_laws
from firstglow.accuracy.charts import cases
from firstglow.accuracy.row import AccuracyRow, data
from firstglow.devices.catalogue import ValveType
from firstglow.devices.fit_blind import fit_blind
from firstglow.solver.frame import Array
from firstglow.solver.midband import midband

OUTPUT = "Philips/Mullard: push-pull operation"
DISTRIBUTED = "Mullard circuits: push-pull operation"
UNDER_FEED = (
    "the print does not give V1's dropper: its feed is chosen here for V2's printed cathode volts, near 165 V, and the gain "
    "goes with it; the unbypassed 100 ohm foot of the feedback is in it"
)

ON_CHOSEN_OHMS = "not scored: it stands on the windings' and the choke's ohms, which are chosen"
ON_CHOSEN_PARTS = (
    "not scored: V1's feed and its cathode's foot are chosen, V1's resistors recalled; that the print's amplifier has nearly "
    "twice this gain says that its V1 is not as drawn here"
)


def published_rows() -> Iterator[AccuracyRow]:
    """All circuits."""
    yield from handbook_rows()
    yield from ten_watt_rows()
    yield from pair_rows()


def published_text(name: str) -> str:
    """A published circuit's file, the same as ``examples/published/NAME.toml``."""
    return files("firstglow.accuracy").joinpath(f"data/{name}.toml").read_text(encoding="utf-8")


def _row(
    case: str, source: str, what: str, kind: str, unit: str, valve: str | None, published: float, u: float | None,
    samples: Array | list[Array], condition: str, *, verified: str = "page", caution: str = "", publication: str = "",
) -> AccuracyRow:  # fmt: skip
    """samples: of one solution, or of each way that an unclear print can be read. u: None where it is not scored."""
    value, width = either(samples) if isinstance(samples, list) else expanded(samples)
    return AccuracyRow(
        case=case, source=source, condition=condition, what=what, kind=kind, unit=unit, valve=valve, published=published,
        published_u=None if u is None else u * published, predicted=value, predicted_u=width, used_in_fit=False, verified=verified,
        family="published circuits", cluster=f"{valve or 'no valve'} / {publication or case}", caution=caution,
    )  # fmt: skip


def handbook_rows() -> Iterator[AccuracyRow]:
    """The handbook's 20 watts: mains to loudspeaker, every stage, solved at its mains."""
    case = cases()["amp_handbook_el34_20w"]
    e, tol = case["expect"], {k: v / 100.0 for k, v in case["tol_pct"].items()}
    solved = solve_with_laws(published_text("handbook-20w"), _without_output())
    part = solved.standing.part("V3")
    cathode = -np.asarray(part["grid_volts"])  # the grid stands at chassis through its leak
    plate, screen = np.asarray(part["plate_volts"]), np.asarray(part["screen_volts"])
    total = np.asarray(part["plate_amps"]) + np.asarray(part["screen_amps"])
    wanted: tuple[tuple[str, str, str, str, Array], ...] = (
        ("vk_el34_v", "output cathode volts", "dc volts", "V", cathode),
        ("va_el34_to_cathode_v", "output plate volts to cathode", "dc volts", "V", plate),
        ("vg2_el34_to_cathode_v", "output screen volts to cathode", "dc volts", "V", screen),
        ("ik_each_el34_ma", "output cathode amps, each", "dc amps", "A", total),
    )
    condition = "whole amplifier, 230 V; windings' ohms, choke and droppers chosen"
    for key, what, kind, unit, samples in wanted:
        ht = key in ("va_el34_to_cathode_v", "vg2_el34_to_cathode_v")
        u, why = (None, ON_CHOSEN_OHMS) if ht else (tol[key], "")
        scale = 1e-3 if key.endswith("_ma") else 1.0
        yield _row(
            "handbook-20w", case["source"], what, kind, unit, "EL34", e[key] * scale, u, samples, condition, caution=why
        )
    yield from _gains(solved, case["source"], e, tol, condition)


def _gains(
    solved: Solved, source: str, e: dict[str, float], tol: dict[str, float], condition: str
) -> Iterator[AccuracyRow]:
    channel = midband(solved.amplifier, solved.situation, solved.slopes(), solved.by_name())[None]
    yield _row(
        "handbook-20w", source, "gain with the loop closed", "gain", "1", None, e["closed_loop_gain"],
        tol["closed_loop_gain"], np.abs(channel.gain_closed), condition,
    )  # fmt: skip
    yield _row(
        "handbook-20w", source, "gain of V1", "gain", "1", "EF86", e["v1_gain"], tol["v1_gain"],
        np.abs(channel.stages["V1"].gain), condition, caution=UNDER_FEED,
    )  # fmt: skip


TEN = "Mullard, Circuits for Audio Amplifiers (TP413), ten-watt amplifier, distributed load"
TEN_HT = TEN + "; 320 V as a builder's page quotes it"
TEN_SAID, TEN_LOADED = "190+190R open", "190+190R"
"""The print gives the winding as 300-0-300 V. Whether that is open or at its rated current is not known: both are solved."""


def ten_watt_rows() -> Iterator[AccuracyRow]:
    """The handbook's 10 watts, mains to loudspeaker. The print's own table of volts was not seen: what is known of it."""
    text, rules = published_text("handbook-10w"), data("rules")
    laws = {"EL84": fit_blind("EL84", [DISTRIBUTED])}
    ways = [solve_with_laws(t, laws) for t in (text, text.replace(TEN_SAID, TEN_LOADED))]
    condition = "whole amplifier, 230 V; winding's ohms, choke and droppers chosen"
    ht = [s.standing.dc(s.amplifier.parts["C1"].leads["+"]) for s in ways]
    yield _row(
        "handbook-10w", TEN_HT, "dc volts at the reservoir", "dc volts", "V", "EZ81", 320.0, rules["rectifier"]["u"], ht,
        condition + "; 300-0-300 V read as open and as loaded",
    )  # fmt: skip
    both = [
        np.sum([s.standing.part(v)[a] for v in ("V3", "V4") for a in ("plate_amps", "screen_amps")], axis=0)
        for s in ways
    ]
    yield _row(
        "handbook-10w", TEN, "cathode amps of the pair", "dc amps", "A", "EL84", 0.080, rules["doubt"]["u"], both, condition,
        verified="memory", caution="current recalled only", publication=DISTRIBUTED,
    )  # fmt: skip
    plates = [
        np.asarray(s.standing.part("V3")["plate_volts"]) - to * np.asarray(s.standing.part("V3")["grid_volts"])
        for s in ways for to in (0.0, 1.0)
    ]  # fmt: skip
    yield _row(
        "handbook-10w", TEN, "output plate volts", "dc volts", "V", "EL84", 300.0, None, plates,
        condition + "; to cathode or to chassis, not known", verified="memory", caution=ON_CHOSEN_OHMS,
        publication=DISTRIBUTED,
    )  # fmt: skip
    lifted = midband(ways[0].amplifier, ways[0].situation, ways[0].slopes(), ways[0].by_name())[None].gain_lifted
    volts, loop = (10.0 * 15.0) ** 0.5, 10.0 ** (26.0 / 20.0)
    yield _row(
        "handbook-10w", TEN, "gain with the loop lifted", "gain", "1", None, loop * volts / 0.040, None, np.abs(lifted),
        condition + "; 10 W into 15 ohm for 40 mV, 26 dB", caution=ON_CHOSEN_PARTS,
    )  # fmt: skip


def pair_rows() -> Iterator[AccuracyRow]:
    """A push-pull pair, both valves drawn, its one cathode resistor and one screen resistor shared."""
    source = "Philips/Mullard EL34 data, class AB pentode, common cathode resistor"
    solved = solve_with_laws(published_text("output-pair-375v"), _without_output())
    parts = [solved.standing.part(v) for v in ("V1", "V2")]
    plates = sum(np.asarray(p["plate_amps"]) for p in parts)
    screens = sum(np.asarray(p["screen_amps"]) for p in parts)
    condition = "375 V stiff, 470 ohm for both screens, 130 ohm for both cathodes"
    for what, kind, unit, published, u, samples in (
        ("plate amps of the pair", "dc amps", "A", 0.150, 0.10, np.asarray(plates)),
        ("screen amps of the pair", "dc amps", "A", 0.023, 0.25, np.asarray(screens)),
        ("cathode volts", "dc volts", "V", 22.5, 0.10, -np.asarray(parts[0]["grid_volts"])),
    ):
        row = _row(
            "output-pair-375v", source, what, kind, unit, "EL34", published, u, samples, condition, verified="memory",
            publication=OUTPUT,
        )  # fmt: skip
        yield row


def _without_output() -> dict[str, ValveType]:
    return {"EL34": fit_blind("EL34", [OUTPUT])}
