"""The bench a published valve row stood on, as a fragment file."""

from dataclasses import dataclass

import numpy as np

from firstglow.accuracy.bench import Solved, fragment, solve_with_laws
from firstglow.devices.catalogue import ValveType
from firstglow.devices.fit_rows import NEXT_GRID, FitRow, Stage
from firstglow.solver.frame import Array
from firstglow.solver.midband import signal_volts


@dataclass(frozen=True, slots=True)
class BenchStage:
    """One valve on bench supplies. SI; grid: volts of a bias supply (0 with a cathode resistor), None of it positive.

    next_ohms: the following grid resistor, None: no signal is asked for. tied: screen on the plate.
    plate_to_cathode, screen_to_cathode: 1 where the supply is stated to the cathode, 0 to chassis.
    """

    valve: ValveType
    section: str
    plate_supply: float
    grid: float = 0.0
    cathode_ohms: float = 0.0
    plate_ohms: float = 0.0
    screen_supply: float = 0.0
    screen_ohms: float = 0.0
    tied: bool = False
    plate_to_cathode: float = 0.0
    screen_to_cathode: float = 0.0
    next_ohms: float | None = None

    @property
    def name(self) -> str:
        """The section's name in the file."""
        if "triode-" in self.valve.kind:
            return "V1t" if self.section == "triode" else "V1p"
        return "V1a" if self.valve.kind.startswith("dual") else "V1"


def stage_of(valve: ValveType, row: FitRow, follows: float | None = None) -> BenchStage:
    """The bench of a row. follows: where nobody knows what its volts are to, 0 (cathode) or 1 (chassis)."""
    s = row.stage
    if s is None:
        return BenchStage(valve, row.section, row.plate, row.grid, screen_supply=row.screen, tied=row.tied)
    plate, screen = (
        1.0 - (follows if follows is not None and 0 < x < 1 else x) for x in (s.plate_follows, s.screen_follows)
    )
    return BenchStage(
        valve, row.section, s.plate_supply, 0.0, s.cathode_ohms, s.plate_ohms, s.screen_supply, s.screen_ohms,
        s.tied, plate, screen, NEXT_GRID * s.plate_ohms if s.plate_ohms else None,
    )  # fmt: skip


def unknown(stage: Stage | None) -> bool:
    """Whether nobody knows what the printed volts are to."""
    return stage is not None and 0 < stage.plate_follows < 1


def stage_text(b: BenchStage) -> str:
    """The fragment file of a bench stage."""
    v, lines, inside = b.name, [], []
    lines.append(f'B1 = ["supply {b.plate_supply:.10g}V 0.01R", "plate supply", "chassis"]')
    inside.append(f'plate = "{b.plate_ohms:.10g}R plate supply"' if b.plate_ohms else 'plate = "plate supply"')
    if b.section == "pentode":
        if b.tied:
            inside.append('screen = "V1 plate"'.replace("V1", v) if b.plate_ohms else 'screen = "plate supply"')
        else:
            lines.append(f'B2 = ["supply {b.screen_supply:.10g}V 0.01R", "screen supply", "chassis"]')
            feed = f"{b.screen_ohms:.10g}R screen supply" if b.screen_ohms else "screen supply"
            bypass = b.screen_ohms and b.next_ohms is not None
            inside.append(f'screen = ["{feed}", "10u 500V film chassis"]' if bypass else f'screen = "{feed}"')
    ends = f'"{b.cathode_ohms:.10g}R chassis"' if b.cathode_ohms else '"chassis"'
    if b.cathode_ohms and b.next_ohms is not None:
        ends = f"[{ends}, " + '"1000u 100V film chassis"]'
    inside.append(f"cathode = {ends}")
    if b.grid:
        lines.append(f'B3 = ["supply {abs(b.grid):.10g}V 0.01R", "chassis", "{v} grid"]')
    elif b.next_ohms is not None:
        inside.append('grid = ["in", "1M chassis"]')
        lines.append('J1 = ["input", "in", "chassis"]')
        lines.append(f'C1 = ["10u 630V film", "{v} plate", "out"]')
        lines.append(f'R1 = ["{b.next_ohms:.10g}R", "out", "chassis"]')
    else:
        inside.append('grid = "chassis"')
    if b.valve.heating == "direct":
        inside.append('heater = ["filament 1", "filament 2"]')
        lines.append(f'B4 = ["supply {b.valve.heaters[0].volts:.10g}V 50Hz", "filament 1", "filament 2"]')
    lines.append(f'{v} = ["{b.valve.name}", {{ {", ".join(inside)} }}]')
    return fragment(f"{b.valve.name} on the bench", lines)


def solve_stage(b: BenchStage) -> Solved:
    """The stage solved through file, amplifier and circuit; supplies stated to the cathode rise with it."""

    def settle(solved: Solved) -> dict[str, Array]:
        lift = -solved.standing.part(b.name)["grid_volts"]  # the grid stands at chassis
        out = {}
        if b.plate_to_cathode:
            out["B1 volts"] = b.plate_supply + b.plate_to_cathode * lift
        if b.screen_to_cathode and b.section == "pentode" and not b.tied:
            out["B2 volts"] = b.screen_supply + b.screen_to_cathode * lift
        return out

    follows = b.cathode_ohms > 0 and (b.plate_to_cathode or b.screen_to_cathode)
    return solve_with_laws(stage_text(b), {b.valve.name: b.valve}, settle if follows else None)


def gain_of(b: BenchStage, solved: Solved) -> Array:
    """Grid to plate at mid-band, size (sample,)."""
    stimulus = solved.situation.but(stimulus_volts=1.0)
    slopes, probe = solved.slopes(), [(f"{b.name} plate", "chassis")]
    return np.asarray(signal_volts(solved.amplifier, stimulus, slopes, probe, solved.by_name())[0])
