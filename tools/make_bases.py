# ruff: noqa: INP001, T201 (a script that writes to standard output)
"""Writes src/firstglow/amplifier/bases.toml from a valve facts file (TOML): what the file reader must know of a valve.

    python tools/make_bases.py valves.toml variants.toml > src/firstglow/amplifier/bases.toml

variants.toml (src/firstglow/devices/data) holds types that share another's electrodes under other ratings, heater, base or
warm-up: each becomes a type of its own here, so that a 6B4G is not given a 2A3's 2.5 V and a 6SN7GT not a 6SN7GTB's warm-up.
Taken over: designations, kind, heating, heater volts and amps, warm-up, base and pins, each with how it was verified.
Worked out here: sections and their electrodes by pin, and whether the cathode is joined to the heater in the glass
(directly heated, or one pin carries "heater and cathode"). Designations with a remark in brackets ("near", "other
base") are not the same valve and are left out. Diodes and gas tubes below are the usual registrations.
"""

import re
import sys
import tomllib
from pathlib import Path

TAIL = """
[gas."0A2"]
designations = ["0A2", "OA2", "VR150", "0D3", "OD3", "150C2"]
volts = 150.0
amps_min = 0.005
amps_max = 0.03
source = "RCA Receiving Tube Manual (0D3/VR150 runs 5 to 40 mA; the lower limit stands)"
verified = "memory"

[gas."0B2"]
designations = ["0B2", "OB2", "VR105", "0C3", "OC3", "108C1"]
volts = 108.0
amps_min = 0.005
amps_max = 0.03
source = "RCA Receiving Tube Manual (0C3/VR105: 105 V, 5 to 40 mA; the lower limit stands)"
verified = "memory"
"""


FAMILIES = (
    ("1N400", "JEDEC registration 1963", 1.0, {1: 50, 2: 100, 3: 200, 4: 400, 5: 600, 6: 800, 7: 1000}),
    (
        "1N540",
        "JEDEC registration, 1N5400 series",
        3.0,
        {0: 50, 1: 100, 2: 200, 3: 300, 4: 400, 5: 500, 6: 600, 7: 800, 8: 1000},
    ),
    ("UF400", "maker's data sheet, UF4001 to UF4007", 1.0, {1: 50, 2: 100, 3: 200, 4: 400, 5: 600, 6: 800, 7: 1000}),
)
"""Silicon diodes: name but for its last figure, source, mean amps, peak inverse volts by last figure."""
SEEN = {"1N4007", "1N5408"}
"""Figures of these were read on a page; the others of their series are from memory."""


def diodes() -> str:
    """A table for each of them."""
    return "".join(
        f'[diode.{stem}{last}]\ntype = "silicon"\namps = {amps}\nvolts = {volts:.1f}\nsource = "{source}"\n'
        f'verified = "{"page" if f"{stem}{last}" in SEEN else "memory"}"\n\n'
        for stem, source, amps, series in FAMILIES
        for last, volts in series.items()
    )


def quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', "'") + '"'


def electrodes(words: str) -> list[tuple[str, str]]:
    """(section, electrode) pairs that a pin carries; section "" where there is one only."""
    words = re.sub(r"\(.*?\)", "", words).strip()
    section = ""
    for name in ("triode", "pentode"):
        if words.startswith(name + " "):
            section, words = name, words.removeprefix(name + " ")
    found = []
    for word in re.split(r",| and ", words):
        word = word.strip()
        numbered = re.fullmatch(r"(plate|cathode) ([12])", word)
        if numbered:
            found.append((numbered.group(2), numbered.group(1)))
        elif word in {"plate", "cathode", "grid"}:
            found.append((section, word))
        elif word in {"heater", "filament"}:
            found.append(("heater", "heater"))
        elif word == "heater centre tap":
            found.append(("heater", "ct"))
        elif re.fullmatch(r"grid [123]", word):
            found.append((section, word))
    return found


def sections(valve: dict) -> dict[str, dict[str, list[int]]]:
    """section -> electrode -> pins. Grid numbers mean sections in a double triode and electrodes in a pentode."""
    double = valve["kind"].startswith("dual triode")
    rectifier = valve["kind"].startswith("rectifier")
    out: dict[str, dict[str, list[int]]] = {}
    for pin in valve.get("pins", ()):
        for section, electrode in electrodes(pin["electrode"]):
            if double and electrode.startswith("grid "):
                section, electrode = electrode[-1], "grid"
            if rectifier and section in {"1", "2"}:
                section, electrode = "", f"{electrode} {section}"
            electrode = {"grid 1": "grid", "grid 2": "screen", "grid 3": "suppressor"}.get(electrode, electrode)
            out.setdefault(section, {}).setdefault(electrode, []).append(pin["pin"])
    for found in out.values():
        if found.get("suppressor") and found["suppressor"] == found.get("cathode"):
            del found["suppressor"]  # joined in the glass
    return out


def with_variants(valves: dict, variants: dict) -> dict:
    """The facts' types and the variants, each variant with what it does not say taken from its type. Its designations are
    its own: its type loses them."""
    out = {name: dict(valve) for name, valve in valves.items()}
    for name, variant in variants.items():
        of = dict(valves[variant["of"]])
        for part in ("heater", "pins"):
            if part in variant:
                of = {k: v for k, v in of.items() if not k.startswith(part)}
                of[f"{part}_verified"] = variant["verified"]
        changed = {k: v for k, v in variant.items() if k in {"designations", "heater", "base", "pins", "warmup_s"}}
        out[name] = of | changed | {"variant_of": variant["of"]}
        own = set(variant["designations"])
        chief = out[variant["of"]]
        chief["designations"] = [d for d in chief["designations"] if d.partition(" (")[0] not in own]
    listed = {d: name for name, valve in out.items() for d in valve["designations"]}
    for name, valve in out.items():  # what two types list (CV593) is the later one's, as in the catalogue
        valve["designations"] = [d for d in valve["designations"] if listed[d] == name]
    return out


def main() -> None:
    facts, variants = (tomllib.loads(Path(path).read_text(encoding="utf-8")) for path in sys.argv[1:3])
    print("# Valve bases, heaters and sections, as the amplifier file's reader needs them.")
    print(
        f"# Written by tools/make_bases.py from a facts file compiled {facts['meta']['compiled']}: do not edit by hand."
    )
    print('# verified: "page" seen on the page named in source; "memory" recalled, check before quoting.')
    for name, valve in with_variants(facts["valves"], variants["variant"]).items():
        found = sections(valve)
        heater = found.pop("heater", {})
        kind = valve["kind"]
        rectifier = kind.startswith("rectifier")
        direct = valve["heating"] == "direct"
        joined = direct or any("heater and cathode" in p["electrode"] for p in valve.get("pins", ()))
        print(f"\n[valve.{quoted(name)}]")
        same = [d for d in valve["designations"] if "(" not in d and "/" not in d]
        print(f"designations = [{', '.join(map(quoted, same))}]")
        if "variant_of" in valve:
            print(f"variant_of = {quoted(valve['variant_of'])}")
        print(f"kind = {quoted(kind)}")
        print(f"heating = {quoted(valve['heating'])}")
        print(f"cathode_joined_to_heater = {'true' if joined else 'false'}")
        heaters = [
            f"{{ volts = {float(h['volts'])}, amps = {float(h['amps'])}"
            + (f", doubt = {quoted(h['doubt'])}" if "doubt" in h else "")
            + " }"
            for h in valve["heater"]
        ]
        print(f"heaters = [{', '.join(heaters)}]")
        print(f"heater_verified = {quoted(valve.get('heater_verified', 'memory'))}")
        if "heater_seen_in" in valve:
            print(f"heater_source = {quoted(valve['heater_seen_in'])}")
        print(f"warmup_s = {float(valve['warmup_s'])}")
        print(f"base = {quoted(valve['base'])}")
        print(f"heater_pins = {heater.get('heater', [])}")
        if "ct" in heater:
            print(f"heater_ct_pin = {heater['ct'][0]}")
        print(f"pins_verified = {quoted(valve.get('pins_verified', 'memory'))}")
        if "pins_seen_in" in valve:
            print(f"pins_source = {quoted(valve['pins_seen_in'])}")
        if "pins_doubt" in valve:
            print(f"pins_doubt = {quoted(valve['pins_doubt'])}")
        if rectifier and joined:
            found.setdefault("", {})["cathode"] = [max(heater["heater"])]
        elif direct:
            found.setdefault("", {})["cathode"] = heater["heater"][:1]
        for section, pins in sorted(found.items()):
            what = "rectifier" if rectifier else "pentode" if "screen" in pins else "triode"
            listed = ", ".join(f"{quoted(e)} = {p}" for e, p in pins.items())
            print(f"[[valve.{quoted(name)}.section]]")
            print(f"name = {quoted(section)}")
            print(f"kind = {quoted(what)}")
            print(f"pins = {{ {listed} }}")
    print()
    print(diodes() + TAIL.strip())


if __name__ == "__main__":
    main()
