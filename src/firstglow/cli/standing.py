"""``firstglow standing FILE``."""

from pathlib import Path
from typing import Any

import click

from firstglow.cli.output import AS, FILE, JSON, print_json, situation_options


@click.command()
@FILE
@AS
@situation_options
@JSON
def command(file: Path, as_: str, as_json: bool, **options: Any) -> None:
    """All volts and currents of the amplifier as it stands, in any situation or fault.

    \b
    Example:  firstglow standing examples/b-hazel-four.toml --mains-now 225
              firstglow standing examples/a-linden-twin.toml --out V3,V4 --fault C5:leaks=500k
    """
    from firstglow.amplifier import load, situation_from_options
    from firstglow.solver.circuit import compile_circuit

    amplifier = load(file, as_=as_)
    situation, faults = situation_from_options(amplifier, **{k: v for k, v in options.items() if v is not None})
    circuit = compile_circuit(amplifier)
    standing = circuit.solve(circuit.vector(situation, faults))
    document = standing_document(amplifier, standing)
    if as_json:
        print_json(document)
        return
    click.echo(f"{amplifier.name} at {situation.mains_volts:g} V mains")
    click.echo("\nJoints, volts to chassis")
    for name, row in document["joints"].items():
        ac = f"   {row['ac']:8.2f} V ac" if "ac" in row else ""
        click.echo(f"  {name:<24} {row['dc']:9.2f} V dc{ac}")
    click.echo("\nValves                     plate V   grid V   plate mA  screen mA   plate W")
    for name, row in document["parts"].items():
        if "plate_watts" in row:
            screen = f"{1e3 * row['screen_amps']:9.2f}" if row.get("screen_amps") is not None else "        –"
            click.echo(
                f"  {name:<24} {row['plate_volts']:8.1f} {row['grid_volts']:8.2f} {1e3 * row['plate_amps']:10.2f} "
                f"{screen} {row['plate_watts']:9.2f}"
            )
    click.echo("\nOther parts                  volts          mA       watts")
    for name, row in document["parts"].items():
        if "plate_watts" not in row and "amps" in row and "watts" in row:
            click.echo(f"  {name:<24} {row['volts']:9.3f} {1e3 * row['amps']:11.4f} {row['watts']:11.4f}")


def standing_document(amplifier: Any, standing: Any) -> dict[str, Any]:
    """CONTRACTS.md's standing document of a solved single sample."""
    joints = {}
    for name in amplifier.joints:
        joints[name] = {"dc": float(standing.dc(name)[0])}
        if standing.has_ac(name):
            joints[name]["ac"] = float(abs(standing.ac(name)[0]))
    names = list(amplifier.parts) + [f"{p.name} {w.name}" for p in amplifier.parts.values() for w in p.windings]
    parts = {}
    for name in names:
        try:
            row = standing.part(name)
        except KeyError:  # parts that carry nothing of their own: jacks, the inlet
            continue
        parts[name] = {key: float(value[0]) for key, value in row.items()}
    return {
        "joints": joints,
        "aliases": {alias: name for alias, name in amplifier.aliases.items() if name in amplifier.joints},
        "parts": parts,
        "residual_amps": float(standing.residual_amps[0]),
        "power_balance": float(standing.power_balance[0]),
    }
