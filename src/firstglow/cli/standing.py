"""``firstglow standing FILE``."""

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from firstglow.cli.output import AS, BENCH, FILE, JSON, METER, bench_of, print_json, situation_options

WIDE = 80


@click.command()
@FILE
@AS
@situation_options
@click.option("--hertz", type=str, default=None, metavar="HZ", help="Mains frequency, 40 to 70; default the file's.")
@click.option("--idle", is_flag=True, help="Presets turned until the output valves idle at the file's targets.")
@click.option(
    "--situation", "situation_file", type=click.Path(path_type=Path), default=None, metavar="JSON",
    help="The situation as a JSON file (firstglow schema situation); only --fault goes with it.",
)  # fmt: skip
@METER
@BENCH
@JSON
def command(
    file: Path, as_: str, as_json: bool, hertz: str | None, idle: bool, situation_file: Path | None,
    meter: str | None, bench: Path | None, fault: tuple[str, ...], **options: Any,
) -> None:  # fmt: skip
    """All volts and currents of the amplifier as it stands, in any situation or fault. With --meter also what that meter shows of
    each joint's dc, on the range to choose.

    \b
    Example:  firstglow standing examples/b-hazel-four.toml --mains-now 225
              firstglow standing examples/a-linden-twin.toml --out V3,V4 \\
                --fault C5:leaks=500k
              firstglow standing examples/b-hazel-four.toml --meter 20k
    """
    from firstglow.amplifier import load, situation_from_options
    from firstglow.amplifier.named import check_names
    from firstglow.solver.circuit import compile_circuit
    from firstglow.solver.idle import stand

    amplifier = load(file, as_=as_)
    said = {k: v for k, v in options.items() if v not in (None, ())}
    situation, faults = situation_from_options(amplifier, fault=fault, **({} if situation_file else said))
    if situation_file:
        situation = _from_file(situation_file, [*said, *(["hertz"] if hertz else []), *(["idle"] if idle else [])])
    elif hertz is not None:
        situation = situation.but(mains_hz=_hertz(hertz))
    if idle:
        situation = situation.but(idle=_targets(amplifier, situation.out))
    check_names(amplifier, situation, faults)
    set_to = stand(compile_circuit(amplifier), situation, faults)
    standing = set_to.standing
    document = standing_document(amplifier, standing, situation, faults)
    if meter is not None:
        _show(document["joints"], standing, _meter(meter, bench))
    if as_json:
        print_json(document)
        return
    for line in _lines(amplifier, set_to, situation, fault, as_, document):
        click.echo(re.sub(r" -(0\.0+)(?=\s|$)", r"  \1", line))  # no minus before nothing


def _meter(name: str, bench: Path | None) -> Any:
    from firstglow.readings.meters import meter_from_table, meter_named

    gear = bench_of(bench)
    return meter_named(name, {n: meter_from_table(n, t, gear.file) for n, t in gear.meters.items()} if gear else {})


def _show(joints: Mapping[str, dict[str, Any]], standing: Any, meter: Any) -> None:
    """To each joint what the meter shows of its dc, loaded by itself."""
    from firstglow.readings.meters import loaded

    for name, row in joints.items():
        if "from" in row:  # it swings from one volts to the other: no dc that a meter could show
            continue
        on = meter.range_for("dc volts", abs(row["dc"]))
        left = float(loaded(row["dc"], standing.source_ohms(name)[0], on.input_ohms)) if name != "chassis" else 0.0
        row["shown"], row["range"] = on.shown(left), on.text


def _from_file(file: Path, beside: Sequence[str]) -> Any:
    from firstglow.amplifier.options import SituationError
    from firstglow.amplifier.situation_json import situation_from_json

    if beside:
        words = {"mains_now": "mains-now", "switch_open": "open", "test_ohms": "test-ohms"}
        named = ", ".join(f"--{words.get(name, name)}" for name in beside)
        raise SituationError("--situation", f"beside {named}", "only --fault", f"it without {named}")
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
    except ValueError as error:
        raise SituationError(str(file), f"no JSON ({error})", "one JSON object", '{"mains_volts": 230}') from None
    if not isinstance(data, dict):
        raise SituationError(str(file), "no JSON object", "one JSON object", '{"mains_volts": 230}')
    return situation_from_json(data)


def _targets(amplifier: Any, out: frozenset[str]) -> dict[str, float]:
    """The idle that the file wants of every output valve that is in [A]."""
    from firstglow.amplifier.options import SituationError

    found = {v: t.amps.value for v, t in amplifier.idle.items() if amplifier.parts[v].envelope not in out and t.pot}
    if not found:
        raise SituationError(
            "--idle", "no valve that is in has an idle and a pot to set it", "set_by on a valve", "it without --idle"
        )
    return found


def _hertz(text: str) -> float:
    from firstglow.amplifier.options import SituationError

    try:
        hertz = float(text.lower().removesuffix("hz"))
    except ValueError:
        hertz = float("nan")
    if not 40.0 <= hertz <= 70.0:
        raise SituationError("--hertz", text, "40 to 70", "--hertz 50")
    return hertz


def standing_document(amplifier: Any, standing: Any, situation: Any, faults: Sequence[Any] = ()) -> dict[str, Any]:
    """CONTRACTS.md's standing document of a solved single sample, ripple in it: a joint's "ac" is what a winding and the
    ripple leave there together (hypot), its "signal" what the situation's generator does."""
    from math import hypot

    from firstglow.solver.midband import signal_at_joints
    from firstglow.solver.pumps import pumped_joints
    from firstglow.solver.rippled import rippled
    from firstglow.solver.slopes import valve_slopes

    ripple = rippled(standing, situation, faults)
    pumped = pumped_joints(amplifier)
    signal: Mapping[str, Any] = {}
    if situation.stimulus_volts:
        slopes = valve_slopes(standing.circuit, standing.x, standing.values)
        signal = signal_at_joints(amplifier, situation, slopes, faults=faults)
    joints: dict[str, dict[str, float]] = {}
    for name in amplifier.joints:
        joints[name] = {"dc": float(standing.dc(name)[0])}
        winding = float(standing.ac(name)[0]) if standing.has_ac(name) else 0.0
        if name in pumped:  # no sine and no ripple: its two rectifiers take it from one steady joint to the other
            joints[name]["from"], joints[name]["to"] = sorted(float(standing.dc(end)[0]) for end in pumped[name])
        elif standing.has_ac(name) or name in ripple.joints:
            joints[name]["ac"] = hypot(winding, float(ripple.joints[name][0]) if name in ripple.joints else 0.0)
        if name in signal:
            joints[name]["signal"] = float(signal[name][0])
    names = list(amplifier.parts) + [f"{p.name} {w.name}" for p in amplifier.parts.values() for w in p.windings]
    parts = {}
    for name in names:
        try:
            row = standing.part(name)
        except KeyError:  # parts that carry nothing of their own: jacks, the inlet
            continue
        parts[name] = {key: float(value[0]) for key, value in {**row, **ripple.parts.get(name, {})}.items()}
    return {
        "joints": joints,
        "aliases": {alias: name for alias, name in amplifier.aliases.items() if name in amplifier.joints},
        "parts": parts,
        "residual_amps": float(standing.residual_amps[0]),
        "power_balance": float(standing.power_balance[0]),
    }


def _lines(
    amplifier: Any, set_to: Any, situation: Any, fault: Sequence[str], as_: str, document: Mapping[str, Any]
) -> Iterator[str]:
    from firstglow.ladder.overloads import past_ratings
    from firstglow.solver.rippled import broken_currents

    standing = set_to.standing
    yield from _head(amplifier, situation, fault, as_)
    turned = {p: float(at[0]) for p, at in set_to.pots.items()}
    if turned:
        yield click.wrap_text(", ".join(f"{p} at {at:.3f}" for p, at in turned.items()), WIDE, "  turned:   ", " " * 12)
    for valve, ended in set_to.out_of_travel.items():
        if ended[0]:
            yield f"  ! {valve}: its pot comes to its end before that idle is reached"
    if not turned and not situation.pots and any(t.pot for t in amplifier.idle.values()):
        yield "  Presets stand where the file leaves them; --idle turns them to the targets."
    empty = broken_currents(standing)
    yield "\nJoints: volts to chassis; ac is rms, of windings and ripple"
    if any("shown" in row for row in document["joints"].values()):
        yield "  first what your meter shows of the dc on the range to choose, itself across it"
    if situation.stimulus_volts:
        yield f"  last: the {situation.stimulus_hz:g} Hz from the input, rms, as if nothing could clip"
    for name, row in document["joints"].items():
        ac = f"   {row['ac']:9.3f} V ac" if "ac" in row else ""
        if "from" in row:
            ac = f"   swings {row['from']:.0f} to {row['to']:.0f} V"
        driven = f"{'' if ac else ' ' * 17} {_signal(row['signal'])}" if "signal" in row else ""
        told = f"{name[:22]:<22} {row['shown']:>11}" if "shown" in row else f"{name[:34]:<34}"
        yield f"  {told} {row['dc']:9.2f} V dc{ac}{driven}".rstrip()
        if ac and name in empty:
            yield "    the choke runs empty in each half cycle: the ac here is 7 to 8 % low"
    past: dict[str, list[str]] = {}
    for over in past_ratings(amplifier, standing):
        if over.part in amplifier.parts and amplifier.parts[over.part].envelope in situation.out:
            continue  # it lies on the bench
        past.setdefault(over.part, []).append(over.past)
    yield f"\n{'Valves':<24} {'plate V':>9} {'grid V':>8} {'plate mA':>9} {'screen mA':>10} {'plate W':>9}"
    for name, row in document["parts"].items():
        if "plate_watts" in row:
            screen = f"{1e3 * row['screen_amps']:10.2f}" if row.get("screen_amps") is not None else f"{'-':>10}"
            yield (
                f"  {name[:22]:<22} {row['plate_volts']:9.1f} {row['grid_volts']:8.2f} {1e3 * row['plate_amps']:9.2f} "
                f"{screen} {row['plate_watts']:9.2f}"
            )
            yield from _past(past.pop(name, ()))
    yield f"\n{'Other parts':<24} {'volts':>9} {'mA dc':>9} {'mA rms':>9} {'mA peak':>9} {'watts':>9}"
    for name, row in document["parts"].items():
        if "plate_watts" not in row and "amps" in row and "watts" in row:
            rms, peak = (f"{1e3 * row[k]:9.2f}" if k in row else f"{'-':>9}" for k in ("amps_rms", "amps_peak"))
            yield f"  {name[:22]:<22} {row['volts']:9.3f} {1e3 * row['amps']:9.3f} {rms} {peak} {row['watts']:9.3f}"
            yield from _past(past.pop(name, ()))
    for name, words in past.items():
        yield f"  {name}"
        yield from _past(words)


def _signal(volts: float) -> str:
    """Volts of a signal, from the hum of a ground to a plate's swing, in 9 places; nothing where there is none."""
    if volts < 1e-6:
        return ""
    return f"{volts:7.2f} V" if volts >= 1.0 else f"{1e3 * volts:6.2f} mV"


def _past(words: Sequence[str]) -> Iterator[str]:
    for text in words:
        yield click.wrap_text(f"PAST ITS RATING: {text}", WIDE, "    ! ", "      ")


def _head(amplifier: Any, situation: Any, fault: Sequence[str], as_: str) -> Iterator[str]:
    """The whole situation in words."""
    hertz = situation.mains_hz or amplifier.mains_hz
    yield click.wrap_text(f"{amplifier.name}, as {as_}, at {situation.mains_volts:g} V {hertz:g} Hz mains", WIDE)
    lamp = f"{situation.lamp_watts:g} W in the line" if situation.lamp_watts else "none"
    feedback = situation.feedback + (f", {situation.test_ohms:g} ohm in it" if situation.test_ohms is not None else "")
    pots = [f"{n} at {at:g}" for n, at in sorted(situation.pots.items())]
    idle = [f"{n} at {1e3 * amps:g} mA" for n, amps in sorted(situation.idle.items())]
    loads = [f"{n} {ohms:g} ohm" for n, ohms in sorted(situation.loads.items())]
    rows = [
        ("fault", list(fault) or ["none"]), ("out", sorted(situation.out) or ["none"]),
        ("lifted", sorted(situation.lifted) or ["none"]), ("lamp", [lamp]), ("load", [situation.load, *loads]),
        ("feedback", [feedback]), ("open", sorted(situation.switches_open)), ("pots", pots), ("idle", idle),
        ("input", [f"{situation.stimulus_volts:g} V rms"] if situation.stimulus_volts else []),
    ]  # fmt: skip
    for name, words in rows:
        if words:
            yield click.wrap_text(", ".join(words), WIDE, f"  {name + ':':<10}", " " * 12)
