"""Makers' typical operation of rectifier valves: dc volts at the reservoir, through mains transformer, valve and solver."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from firstglow.accuracy.bench import Solved, expanded, solve_with_laws
from firstglow.accuracy.row import AccuracyRow, data
from firstglow.accuracy.rules import doubt_of, table_rule
from firstglow.devices.catalogue import ValveType, valve_type
from firstglow.devices.fit_types import PRINTED_DROP_SIGMA
from firstglow.devices.published import publication, published_types
from firstglow.devices.rectifier import RectifierLaw
from firstglow.solver.frame import Array
from firstglow.solver.standing import SolveError

PRIMARY_OHMS = (1.0, 1.5, 3.0)
"""Nearly all of the stated source ohms stand in the winding: what the primary drops for heater and core is not the
maker's. The print does not say how they are shared; where the solver does not settle with one share the next is taken."""
WIRING_OHMS = 0.095
"""Fuse and switch that the reader puts in the mains lead where a file states none."""


def rectifier_rows() -> Iterator[AccuracyRow]:
    """Every capacitor-input row of every rectifier that has a law."""
    for name, table in published_types().items():
        if "rectifier" not in table["limits"] or table.get("fit") == "refuse":
            continue
        law = from_printed_drop(name)
        for i, raw in enumerate(table.get("typical_output", ())):
            if raw["filter"] == "capacitor":
                yield _row(law, name, f"typical_output[{i}]", raw)


def from_printed_drop(name: str) -> ValveType:
    """The type with the law of its printed drop alone.

    Where the facts give a perveance band, its high end was found from these very outputs: the catalogue's law has seen
    them, this one has not.
    """
    valve, table = valve_type(name), published_types()[name]
    if "perveance_band_mA_per_V1p5" not in table:
        return valve
    printed = next(d["derived_perveance_mA_per_V1p5"] for d in table["drop"] if "scaled" not in d.get("doubt", ""))
    section = valve.sections[0]
    assert isinstance(section.law, RectifierLaw)
    law = replace(section.law, perveance=printed * 1e-3)
    return replace(valve, sections=(replace(section, law=law, law_uncertainty={"perveance": PRINTED_DROP_SIGMA}),))


def supply_text(valve: ValveType, raw: Mapping[str, Any], ohms: float, primary: float) -> str:
    """The file of a maker's test circuit; ohms: across the reservoir. The source ohms stand in the winding."""
    volts, hertz = raw["vrms_per_plate"], 50 if "Philips" in raw["source"] else 60
    mains = 230.0
    side = raw["r_per_plate_ohm"] - (volts / mains) ** 2 * (primary + WIRING_OHMS)
    h = valve.heaters[0]
    heat = f"{h.volts:g}V {h.amps:g}A 0.001R open"
    tied = "" if valve.cathode_joined_to_heater or valve.heating == "direct" else ', "rect 1" = "chassis"'
    return f"""format = 1
amplifier = {{ name = "{valve.name} supply", drawing = "published figures", mains = "{mains:g}V {hertz}Hz" }}
[parts]
T1 = [
  "mains transformer",
  {{ primary = "{mains:g}V {primary}R", rect = "{heat}" }},
  {{ ht = "{volts:g}-0-{volts:g}V {raw["idc_mA"]:g}m {side:.6g}+{side:.6g}R open", "ht ct" = "chassis"{tied} }},
]
V1 = ["{valve.name}", {{ plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "reservoir" }}]
C1 = ["{raw["c_in_uF"]:g}u 900V", "reservoir", "chassis"]
R1 = ["{ohms:.8g}R", "reservoir", "chassis"]
"""


def reservoir(solved: Solved) -> Array:
    """Dc volts at the first capacitor (sample,)."""
    return solved.standing.dc(solved.amplifier.parts["C1"].leads["+"])


def _row(valve: ValveType, name: str, where: str, raw: Mapping[str, Any]) -> AccuracyRow:
    amps = raw["idc_mA"] * 1e-3

    def settle(solved: Solved) -> dict[str, Array]:
        return {"R1 ohms": reservoir(solved) / amps}

    value: float | None = None
    width: float | None = None
    caution = doubt_of(raw)
    for primary in PRIMARY_OHMS:
        text = supply_text(valve, raw, raw["vdc_out"] / amps, primary)
        try:
            value, width = expanded(reservoir(solve_with_laws(text, {valve.name: valve}, settle)))
            break
        except SolveError as error:
            caution = f"not solved: {error}"
    rules = data("rules")
    u = max(rules["rectifier"]["u"], rules["doubt"]["u"] if doubt_of(raw) else table_rule(raw))
    return AccuracyRow(
        case=f"{name} {where}", source=raw["source"],
        condition=f"{raw['vrms_per_plate']:g} V a plate, {raw['c_in_uF']:g} uF, {raw['r_per_plate_ohm']:g} ohm a plate, "
        f"{raw['idc_mA']:g} mA",
        what="dc volts at the reservoir", kind="dc volts", unit="V", valve=name, published=float(raw["vdc_out"]),
        published_u=u * raw["vdc_out"], predicted=value, predicted_u=width, used_in_fit=False, verified=raw["verified"],
        family="rectifier dc volts", cluster=f"{name} / {publication(raw['source'])}: typical operation",
        caution=caution if value is None else doubt_of(raw),
    )  # fmt: skip
