"""Closed forms and worked examples without a valve: the solver's parts against what a page of algebra gives."""

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
from scipy.optimize import brentq

from firstglow.accuracy.bench import fragment, solve_with_laws
from firstglow.accuracy.charts import cases, pairs, scored
from firstglow.accuracy.row import AccuracyRow
from firstglow.amplifier import load
from firstglow.amplifier.situation import Situation
from firstglow.solver.averaged import Averaged, Cell, Inputs, Leg, averaged
from firstglow.solver.discharge import discharge
from firstglow.solver.frame import Array
from firstglow.solver.midband import midband, signal_volts

EXACT = 0.0
LOAD = 1000.0
RMS = 300.0
CREST = RMS * 2**0.5


def closed_rows() -> Iterator[AccuracyRow]:
    """All of them."""
    yield from schade_rows()
    yield from ripple_rows()
    yield from divider_rows()
    yield from meter_rows()
    yield from stage_rows()
    yield from feedback_rows()
    yield from decay_rows()


def _cell(waves: int, ohms: float, farads: float) -> tuple[Cell, Inputs]:
    """A rectifier without any drop worth the name, and its inputs."""
    cell = Cell((Leg(1, "junction"), Leg(-1, "junction"))[:waves])
    full = np.ones((waves, 1))
    x = Inputs(
        np.zeros(1), emf=RMS * full, ohms=ohms * full, scale=1e-4 * full, limit=1e-9 * full, farads=np.full(1, farads),
        hertz=50.0, esr=0.0, drain=np.full(1, 1.0 / LOAD),
    )  # fmt: skip
    return cell, x


def _at(cell: Cell, x: Inputs, volts: float) -> Averaged:
    return averaged(cell, replace(x, volts=np.array([volts])))


def schade_rows() -> Iterator[AccuracyRow]:
    """Capacitor input: dc volts over the crest, ripple, rms current (ideal diode, source ohms, load)."""
    for name in ("schade_fw_limit", "schade_hw_limit", "schade_fw_finite", "schade_hw_finite", "schade_hw_finite_b"):
        case = cases()[name]
        waves = 2 if case["given"]["wave"] == "full" else 1
        for i, g, e in pairs(case):
            finite = "omega_r_c" in g and not isinstance(g["omega_r_c"], str)
            farads = g["omega_r_c"] / (2 * np.pi * 50.0 * LOAD) if finite else 0.1
            cell, x = _cell(waves, LOAD * g["rs_over_rl_pct"] / 100.0, farads)
            volts = float(brentq(lambda v, cell=cell, x=x: _at(cell, x, v).amps[0] - v / LOAD, 1.0, CREST, xtol=1e-8))
            found = _at(cell, x, volts)
            wave = found.state[:-1, 0]
            given = {
                "edc_over_epk": volts / CREST,
                "ripple_rms_pct": 100.0 * float(wave.std() / wave.mean()),
                "total_rms_over_dc_current": float(np.sqrt(found.each_square.sum()) / found.amps[0]),
            }
            for key, value in given.items():
                if key in e:
                    yield scored(
                        case, i, key, key.replace("_", " "), "ratio", "1", e[key], (value, EXACT), family="capacitor input",
                        condition=f"{g['wave']} wave, source {g['rs_over_rl_pct']} % of the load, omega R C {g['omega_r_c']}",
                    )  # fmt: skip


def ripple_rows() -> Iterator[AccuracyRow]:
    """Hum at the first capacitor by the rule, for a stiff source."""
    case = cases()["ripple_rule"]
    for i, g, e in pairs(case):
        if "idc_ma" not in g:
            continue  # the rule itself, at the high-conduction limit: a formula's value, nothing to solve
        cell, x = _cell(2, 10.0, g["c_uf"] * 1e-6)
        amps = g["idc_ma"] * 1e-3
        volts = float(brentq(lambda v, cell=cell, x=x, a=amps: _at(cell, x, v).amps[0] - a, 100.0, CREST))
        wave = _at(cell, x, volts).state[:-1, 0]
        hum = 2.0**0.5 * float(np.abs(np.fft.rfft(wave)[2])) / wave.size
        yield scored(
            case, i, "ripple_rms_v", "hum at the first capacitor", "ac volts", "V", e["ripple_rms_v"], (hum, EXACT),
            family="ripple", condition=f"{g['idc_ma']} mA, {g['c_uf']} uF, 50 Hz full wave, stiff source",
        )  # fmt: skip


def _dc(lines: list[str], situation: Mapping[str, object] | None = None, joint: str = "out") -> float:
    solved = solve_with_laws(fragment("divider", lines), {}, situation=situation)
    return float(solved.standing.dc(joint)[0])


def divider_rows() -> Iterator[AccuracyRow]:
    """A bias divider with its trimmer at either end, and a lightly loaded half-wave bias supply."""
    case = cases()["bias_divider"]
    g, e = case["given"], case["expect"]
    lines = [
        f'B1 = ["supply {abs(g["v_raw"])}V 0.001R", "chassis", "raw"]',
        f'R1 = ["{g["r_series_ohm"]}R", "raw", "top"]',
        f'P1 = ["pot {g["trimmer_ohm"]}R", "top", "out", "bottom"]',
        f'R2 = ["{g["r_bottom_ohm"]}R", "bottom", "chassis"]',
        'R3 = ["10G", "out", "chassis"]',  # nothing is fed; a joint needs two leads
    ]
    for position, key in ((0.0, "v_at_top_of_trimmer"), (1.0, "v_at_bottom_of_trimmer")):
        volts = _dc(lines, {"pots": {"P1": position}})
        yield scored(
            case, int(position), key, "bias volts", "dc volts", "V", e[key], (volts, EXACT), family="dividers",
            condition=f"{g['v_raw']} V, 15k, 22k trimmer, 33k; wiper at end {int(position) + 1}",
        )  # fmt: skip
    case = cases()["bias_supply_half_wave"]
    for i, g, e in pairs(case):
        text = f"""format = 1
amplifier = {{ name = "bias supply", drawing = "published figures", mains = "230V 50Hz" }}
[parts]
T1 = ["mains transformer", {{ primary = "230V 10R", bias = "{g["vac_rms"]}V 50m 20R open", "bias 2" = "chassis" }}]
D1 = ["1N4007", "raw", "T1 bias 1"]
C1 = ["47u 100V", "chassis", "raw"]
R1 = ["100k", "raw", "chassis"]
"""
        solved = solve_with_laws(text, {})
        yield scored(
            case, i, "vdc", "bias volts", "dc volts", "V", e["vdc"], (float(solved.standing.dc("raw")[0]), EXACT),
            family="bias supply", condition=f"{g['vac_rms']} V rms, half wave, silicon, 100k load",
        )  # fmt: skip


def meter_rows() -> Iterator[AccuracyRow]:
    """What a meter's own resistance leaves of a joint's volts: solved with the meter hanging there."""
    case = cases()["ex_meter_loading_a"]
    for i, g, e in pairs(case):
        per_volt = {"20 kohm/V": 20e3, "1 kohm/V": 1e3}.get(g["meter"])
        ohms = 10e6 if per_volt is None else per_volt * g["range_v"]
        lines = [
            f'B1 = ["supply {g["v_true"]}V 0.001R", "HT", "chassis"]',
            f'R1 = ["{g["r_source_ohm"]}R", "HT", "out"]',
        ]
        lines.append('R2 = ["1G", "out", "chassis"]')
        volts = _dc(lines, {"loads": {"out": ohms}})
        yield scored(
            case, i, "v_read", "volts on the meter", "dc volts", "V", e["v_read"], (volts, EXACT), family="meter loading",
            condition=f"{g['v_true']} V behind {g['r_source_ohm']} ohm, {g['meter']}, {g['range_v']} V range",
        )  # fmt: skip


def _triode(mu: float, ra: float) -> dict[tuple[str, str], Array]:
    return {("plate", "grid"): np.full(1, mu / ra), ("plate", "plate"): np.full(1, 1.0 / ra)}


def _gain(lines: list[str], slopes: dict[str, dict[tuple[str, str], Array]], joint: str) -> float:
    amplifier = load(fragment("small signal", ['B1 = ["supply 300V 0.001R", "HT", "chassis"]', *lines]))
    on = Situation(mains_volts=amplifier.mains_volts, stimulus_volts=1.0)
    return float(signal_volts(amplifier, on, slopes, [(joint, "chassis")])[0, 0])


INPUT = ['J1 = ["input", "in", "chassis"]', 'R9 = ["1M", "in", "chassis"]']


def stage_rows() -> Iterator[AccuracyRow]:
    """Textbook stages of stated mu and plate resistance."""
    family = "small-signal arithmetic"
    case = cases()["ex_12ax7_gain_220k"]
    g, e = case["given"], case["expect"]
    lines = [
        *INPUT,
        f'V1a = ["12AX7", {{ plate = "{g["ra_load_kohm"]}k HT", cathode = "chassis", grid = "in" }}]',
        'C1 = ["10u 400V film", "V1a plate", "next"]',
        f'R1 = ["{g["rg_next_kohm"]}k", "next", "chassis"]',
    ]
    value = _gain(lines, {"V1a": _triode(g["mu"], g["ra_kohm"] * 1e3)}, "next")
    yield scored(
        case, 0, "gain", "gain", "gain", "1", e["gain"], (value, EXACT), family=family, condition=case["title"]
    )
    case = cases()["ex_gain_3k_load"]
    for i, g, e in pairs(case):
        lines = [*INPUT, 'V1a = ["6SN7GTB", { plate = "3k HT", cathode = "chassis", grid = "in" }]']
        value = _gain(lines, {"V1a": _triode(g["mu"], g["ra_ohm"])}, "V1a plate")
        yield scored(
            case, i, "gain", "gain", "gain", "1", e["gain"], (value, EXACT), family=family,
            condition=f"{g['tube']}: mu {g['mu']}, {g['ra_ohm']} ohm, 3k load",
        )  # fmt: skip
    for name, plate, tail, key in (
        ("ex_cathode_follower_6sn7", '"HT"', "rk_kohm", "gain"),
        ("ex_concertina_22k", '"22k HT"', "r_each_kohm", "gain_each"),
    ):
        case = cases()[name]
        g, e = case["given"], case["expect"]
        lines = [*INPUT, f'V1a = ["6SN7GTB", {{ plate = {plate}, cathode = "{g[tail]}k chassis", grid = "in" }}]']
        value = _gain(lines, {"V1a": _triode(g["mu"], g["ra_kohm"] * 1e3)}, "V1a cathode")
        yield scored(case, 0, key, "gain", "gain", "1", e[key], (value, EXACT), family=family, condition=case["title"])
    case = cases()["ex_ltp_ideal_6sn7"]
    g, e = case["given"], case["expect"]
    lines = [
        *INPUT,
        'V1a = ["6SN7GTB", { plate = "47k HT", cathode = "tail", grid = "in" }]',
        'V1b = ["6SN7GTB", { plate = "47k HT", cathode = "tail", grid = ["1M chassis", "10u 400V film chassis"] }]',
        'R1 = ["1G", "tail", "chassis"]',
    ]
    both = {v: _triode(g["mu"], g["ra_kohm"] * 1e3) for v in ("V1a", "V1b")}
    value = _gain(lines, both, "V1b plate")
    yield scored(
        case,
        0,
        "gain_each",
        "gain",
        "gain",
        "1",
        e["gain_each"],
        (value, EXACT),
        family=family,
        condition=case["title"],
    )


def feedback_rows() -> Iterator[AccuracyRow]:
    """Gain and feedback of a loop of stated open gain and beta, closed in the network itself."""
    for name in ("ex_nfb_a", "ex_nfb_b"):
        case = cases()[name]
        for i, g, e in pairs(case):
            both = {**g, **e}
            if "gain_open" not in both or "beta" not in both:
                continue
            opened, beta = float(both["gain_open"]), float(both["beta"])
            closed, loop = _loop(opened, beta)
            wanted = {
                "gain_closed": (closed, both.get("gain_closed")),
                "feedback_db": (20 * np.log10(1 + loop), e.get("feedback_db")),
            }
            for key, (value, published) in wanted.items():
                if published is not None:
                    yield scored(
                        case, i, key, key.replace("_", " "), "gain", "1", float(published), (float(value), EXACT),
                        family="feedback arithmetic", condition=f"open-loop gain {opened:g}, beta {beta:g}",
                    )  # fmt: skip


def _loop(opened: float, beta: float) -> tuple[float, float]:
    """Closed gain and loop gain of two valves of infinite plate resistance (so small a slope that the cathode does not load beta)."""
    first, load_ohms, divider = 1e-10, 30.0, 1e6
    lines = [
        'J1 = ["input", "in", "chassis"]', 'R9 = ["1M", "in", "chassis"]',
        'B1 = ["supply 300V 0.001R", "HT", "chassis"]',
        'B2 = ["supply 300V 0.001R", "HT2", "chassis"]',  # a supply of its own: even a milliohm in common is a second loop
        'V1a = ["6SN7GTB", { plate = "1k HT2", cathode = "foot", grid = "in" }]',
        'V1b = ["6SN7GTB", { plate = "hot", cathode = "chassis", grid = "V1a plate" }]', f'R1 = ["{load_ohms:g}R", "HT", "hot"]',
        'LS = ["load 100k", "hot", "chassis"]',
        f'R3 = ["{divider * beta:.9g}R", "foot", "chassis"]',
        f'R4 = ["{divider * (1 - beta):.9g}R", "hot", "foot", {{ link = "feedback" }}]',
    ]  # fmt: skip
    amplifier = load(fragment("loop", lines))
    slopes = {
        "V1a": {("plate", "grid"): np.full(1, first)},
        "V1b": {("plate", "grid"): np.full(1, opened / (first * 1e3 * load_ohms))},
    }
    channel = next(iter(midband(amplifier, Situation(mains_volts=amplifier.mains_volts), slopes).values()))
    return float(abs(channel.gain_closed[0])), float(channel.loop_gain[0])


def decay_rows() -> Iterator[AccuracyRow]:
    """A reservoir emptied through its bleeder: V exp(-t/RC), closed form."""
    volts, ohms, farads = 450.0, 220e3, 47e-6
    lines = [
        'B1 = ["supply 450V 1R", "feed", "chassis"]',
        'W1 = ["wire", "feed", "HT", { link = "feed" }]',
        'C1 = ["47u 500V", "HT", "chassis", { leak_ohms = "100G" }]',
        'R1 = ["220k", "HT", "chassis"]',
    ]
    text = fragment("bleeder", lines)
    amplifier = load(text)
    on = Situation(mains_volts=amplifier.mains_volts, lifted=frozenset({"feed"}))
    left = discharge(amplifier, on, {"C1": volts})
    for seconds in (5.0, 30.0, 60.0):
        value = float(left.capacitor_volts("C1", np.array([seconds]))[0, 0])
        expected = volts * float(np.exp(-seconds / (ohms * farads)))
        yield AccuracyRow(
            case=f"decay[{seconds:g} s]", source="closed form V exp(-t/RC)", condition="450 V, 47 uF, 220k", what="volts left",
            kind="dc volts", unit="V", valve=None, published=expected, published_u=0.005 * expected, predicted=value,
            predicted_u=EXACT, used_in_fit=False, verified="closed form", family="RC decay", cluster="no valve / RC decay",
        )  # fmt: skip
