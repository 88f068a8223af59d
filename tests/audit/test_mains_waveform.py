"""A resistor in the primary against the whole waveform, integrated by scipy: what it leaves of heaters and HT, and the rms
current that heats it."""

from dataclasses import dataclass
from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.amplifier.supplies import supplies
from firstglow.audit.altered import AHEAD
from firstglow.audit.figures import figures, run
from firstglow.audit.inrush import first_charge
from firstglow.audit.mains_now import Today, today
from firstglow.devices.catalogue import valve_type

EXAMPLES = Path(__file__).parents[2] / "examples"


@dataclass(frozen=True)
class Wave:
    """Means of the last mains cycle."""

    line_rms: float
    heater_rms: float
    primary_rms: float
    dc_amps: float


def integrated(
    at: Today, ohms: float, ht: float, load_amps: float, heater_ohms: float, lag: float, loss: float
) -> Wave:
    """Example (b) in time: mains, ``ohms`` and copper, a core with its lagging current [A rms] and loss ohms, the heaters' line
    as a resistor, two halves of winding into an EZ80 (i = k v^1.5) and its reservoir held at ``ht`` with ripple."""
    a = at.amplifier
    t1 = a.parts["T1"]
    wound = {w.name: w for w in t1.windings}
    volts, hz, farads = at.now, a.mains_hz, a.parts["C1a"].value("farads")
    r1 = wound["primary"].ohms.value + ohms + a.parts["F1"].value("ohms") + a.parts["S1"].value("ohms")
    heat = (wound["heat a"].turns.value + wound["heat b"].turns.value) / a.mains_volts
    heat_ohms = wound["heat a"].ohms.value + wound["heat b"].ohms.value + heater_ohms
    halves = [(w.turns.value / a.mains_volts, w.ohms.value) for w in (wound["ht a"], wound["ht b"])]
    law = valve_type("EZ80").sections[0].law
    k = float(law.perveance)  # type: ignore[union-attr]

    def plate(v: float, r: float) -> float:
        """Amps of v volts across r ohms and the valve."""
        if v <= 0.0:
            return 0.0
        return float(brentq(lambda i: i * r + (i / k) ** (2.0 / 3.0) - v, 0.0, v / r, xtol=1e-9))

    def emf(t: float, held: float) -> tuple[float, float, float]:
        """Core volts, line amps, rectified amps."""
        source, lagging = sqrt(2.0) * volts * np.sin(2 * pi * hz * t), -sqrt(2.0) * lag * np.cos(2 * pi * hz * t)

        def line(e: float) -> float:
            pulses = sum(n * s * plate(s * n * e - held, r) for (n, r), s in zip(halves, (1.0, -1.0), strict=True))
            return e * heat * heat / heat_ohms + e / loss + lagging + pulses

        e = float(brentq(lambda x: source - r1 * line(x) - x, -400.0, 400.0, xtol=1e-6))
        dc = sum(plate(s * n * e - held, r) for (n, r), s in zip(halves, (1.0, -1.0), strict=True))
        return e, line(e), dc

    cycle = 1.0 / hz
    run_ = solve_ivp(
        lambda t, y: [(emf(t, float(y[0]))[2] - load_amps) / farads], (0.0, 3 * cycle), [ht], method="RK23",
        max_step=cycle / 100, rtol=1e-5, atol=1e-4, t_eval=np.linspace(2 * cycle, 3 * cycle, 400, endpoint=False),
    )  # fmt: skip
    seen = np.array([emf(t, float(v)) for t, v in zip(run_.t, run_.y[0], strict=True)])
    heaters = seen[:, 0] * heat * heater_ohms / heat_ohms
    primary = np.sqrt(2) * volts * np.sin(2 * pi * hz * run_.t) - (r1 - wound["primary"].ohms.value) * seen[:, 1]
    rms = [float(np.sqrt(np.mean(x**2))) for x in (seen[:, 1], heaters, primary)]
    return Wave(*rms, float(seen[:, 2].mean()))


@pytest.mark.parametrize("ohms", [0.01, 130.0])
def test_a_resistor_in_the_primary_against_the_waveform(ohms: float) -> None:
    """Held at our HT volts the waveform must give our dc, our heater volts and our rms current. Within 1 % in dc (which
    is 0.1 % in HT volts: the supply's slope is some 600 ohm of 6400) and current, 0.3 % in heaters and primary: the cycle's
    cells are 7.5 degrees wide, and heaters see the fundamental alone."""
    at = today(load(EXAMPLES / "b-hazel-four.toml"), 245.0)
    standing, _ = run(at.circuit, [Situation(at.now)], [{f"{AHEAD} ohms": ohms}])
    ours = figures(at.circuit.amplifier, at.roles, standing, 0)
    load_amps = float(standing.part("V3")["amps"][0])
    volts = ours.heaters["V1"][0]
    amps = sum(
        p.value("amps") * (volts / p.value("volts")) ** 0.6 for p in at.amplifier.of_kind("heater")
    )  # facts: mag.heater_law, I as V^0.6
    t1 = at.amplifier.parts["T1"]
    share = ours.primary_volts / at.mark
    wave = integrated(
        at,
        ohms,
        ours.ht["HT1"],
        load_amps,
        volts / amps,
        t1.value("magnetising_amps") * share,
        at.mark**2 / t1.value("core_loss_watts"),
    )
    assert wave.dc_amps == pytest.approx(load_amps, rel=0.01)
    assert wave.heater_rms == pytest.approx(volts, rel=0.003)
    assert wave.primary_rms == pytest.approx(ours.primary_volts, rel=0.003)
    assert wave.line_rms == pytest.approx(ours.mains_amps, rel=0.01)
    # what stands in the line carries the same, harmonics and all, and is warmed by it
    for part, own in (("F1", at.amplifier.parts["F1"].value("ohms")), (AHEAD, ohms)):
        row = standing.part(part)
        assert wave.line_rms == pytest.approx(float(row["amps_rms"][0]), rel=0.01)
        assert float(row["watts"][0]) == pytest.approx(own * float(row["amps_rms"][0]) ** 2, rel=1e-6)


def test_first_charge_against_the_waveform() -> None:
    """Example (c)'s reservoir from empty through bridge and copper, integrated by scipy at the same moments of switching; and
    half C V2 / R, what it would be if the crest stood there at once (fuse makers' guides, facts: fuse.i2t)."""
    a = load(EXAMPLES / "c-sorrel-twenty.toml")
    supply = next(s for s in supplies(a) if s.use == "ht")
    peak, i2t = first_charge(a, supply, 132.0)
    wound = {w.name: w for w in a.parts["T1"].windings}
    n, ohms = wound["ht"].turns.value / 120.0, wound["ht"].ohms.value + 0.01
    ohms += wound["primary"].ohms.value * n**2
    crest, farads = sqrt(2.0) * 132.0 * n, 47e-6
    worst = (0.0, 0.0)
    for angle in np.pi * np.arange(8) / 8:

        def amps(t: float, v: float, angle: float = float(angle)) -> float:
            return max(abs(crest * np.sin(2 * pi * 60.0 * t + angle)) - 1.6 - v, 0.0) / ohms

        found = solve_ivp(
            lambda t, y, f=amps: [f(t, y[0]) / farads, (n * f(t, y[0])) ** 2],
            (0.0, 0.15),
            [0.0, 0.0],
            max_step=2e-5,
            rtol=1e-6,
        )
        top = max(n * amps(t, v) for t, v in zip(found.t, found.y[0], strict=True))
        worst = max(worst[0], top), max(worst[1], float(found.y[1, -1]))
    assert peak == pytest.approx(worst[0], rel=0.02)
    assert i2t == pytest.approx(worst[1], rel=0.02)
    assert i2t < 0.5 * farads * crest**2 / ohms * n**2
