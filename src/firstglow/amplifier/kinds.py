"""The table of kinds and their attributes: data only.

Defaults and their spreads are what an honest person would assume of an unknown part. Sources, where a figure is more
than common practice, stand in the text of the row; "not used yet" rows are accepted, kept and reported as such.
"""

from collections.abc import Mapping

from firstglow.amplifier.attributes import Attribute, Kind, Role
from firstglow.amplifier.model import Shape


def _row(
    name: str,
    unit: str,
    text: str,
    default: float | str | None = None,
    spread: float = 0.0,
    shape: Shape = "exact",
    stated: float = 0.0,
    used: str = "standing",
    low: float = 0.0,
    high: float = 1e12,
    role: Role = "value",
) -> Attribute:
    return Attribute(name, unit, default, spread, shape, stated, role, used, low, high, text)


def _rating(name: str, unit: str, text: str, high: float = 1e6, used: str = "limits") -> Attribute:
    return _row(name, unit, text, used=used, low=1e-6, high=high, role="rating")


def _later(name: str, unit: str, text: str) -> Attribute:
    return _row(name, unit, text, used="not used yet", low=0.0, high=1e9)


def _table(*rows: Attribute) -> Mapping[str, Attribute]:
    """The rows by name, with what every body of a part may say."""
    body = (_later("body_length_mm", "mm", "length of the body"), _later("body_width_mm", "mm", "width or diameter of the body"),
            _later("lead_spacing_mm", "mm", "distance between the leads"))  # fmt: skip
    return {row.name: row for row in (*rows, *body)}


_LINK = "name of a lead that can be lifted: text, or { name, lead, tie } (tie: joint its free end goes to while lifted)"
_NOTE = "free text for people; nothing reads it"
_WORDS = {"note": _NOTE}
_LINKED = {"link": _LINK, **_WORDS}

TABLE: tuple[Kind, ...] = (
    Kind(
        "resistor", ("1", "2"),
        _table(
            _row("ohms", "ohm", "resistance", None, 0.10, "uniform", 0.10, "standing, cold ohms, signal, discharge", 1e-4, 1e11),
            _rating("watts", "W", "rated dissipation"),
            _rating("volts", "V", "rated working volts"),
            _later("henries", "H", "series inductance (wirewound)"),
        ),
        ("ohms", "watts", "volts"), types=("carbon composition", "carbon film", "metal film", "metal oxide", "wirewound"),
        words={**_LINKED, "test": "true: put there to be measured across (a sense resistor)"}, says=("thermistor",),
        text="Tolerance where none is stated: 10 %, carbon composition 20 % (they drift; common practice).", example='R1 = ["220k 1W", "HT3", "V1 plate"]',
    ),
    Kind(
        "capacitor", ("+", "-"),
        _table(
            _row("farads", "F", "capacitance", None, 0.2, "uniform", 0.2, "standing (ripple), signal, discharge", 1e-13, 1.0),
            _rating("volts", "V", "rated working volts"),
            _row("leak_ohms", "ohm", "leakage resistance across it", "capacitor leak", 0.8, "uniform", 0.5, "standing, cold ohms, discharge", 1.0, 1e15),
            _row("esr_ohms", "ohm", "series resistance", "capacitor esr", 0.5, "uniform", 0.5, "not used yet", 0.0, 1e6),
            _rating("surge_volts", "V", "rated surge volts", used="not used yet"),
            _rating("ripple_amps", "A", "rated ripple current", used="not used yet"),
            _rating("hot_degc", "degC", "rated temperature", used="not used yet"),
        ),
        ("farads", "volts"), types=("electrolytic", "film", "paper", "ceramic", "mica", "polyester", "polypropylene", "X", "Y", "X2", "Y2"),
        words={**_LINKED, "can": "name of the can it shares with other capacitors"}, says=("condenser",),
        text="Plus lead first. 50+50u 450V makes sections a and b: plus leads in order, common minus last. Tolerance where none is "
        "stated: electrolytic 30 %, others 20 %.", example='C1 = ["32u 500V", "HT1", "chassis"]',
    ),
    Kind(
        "pot", ("end 1", "wiper", "end 2"),
        _table(
            _row("ohms", "ohm", "track resistance, end to end", None, 0.2, "uniform", 0.2, "standing, cold ohms, signal, discharge", 0.1, 1e9),
            _rating("watts", "W", "rated dissipation of the whole track"),
            _row("position", "1", "where it stands: 0 wiper at end 1, 1 at end 2", 0.5, role="setting", low=0.0, high=1.0),
            _row("wiper_ohms", "ohm", "wiper contact resistance", 1.0, 0.5, "uniform", 0.5, "standing, cold ohms", 0.0, 1e5),
        ),
        ("ohms", "watts"), types=("linear", "log", "preset", "wirewound"),
        words={**_WORDS, "gang": "name of the spindle it shares with other pots"}, says=("potentiometer", "trimmer"),
        text="Ends in order: at position 0 the wiper is at end 1.", example='P1 = ["pot 25k preset", "bias raw", "V2 bias", "bias foot"]',
    ),
    Kind(
        "choke", ("1", "2"),
        _table(
            _row("henries", "H", "inductance at its working current", 10.0, 0.5, "uniform", 0.2, "standing (choke input, ripple), signal", 1e-4, 1e4),
            _row("ohms", "ohm", "dc resistance", "choke ohms", 0.5, "uniform", 0.1, "standing, cold ohms, discharge", 1e-3, 1e5),
            _rating("amps", "A", "rated dc"),
            _later("core_loss_watts", "W", "loss of its core"),
        ),
        ("amps", "henries", "ohms"), words=_LINKED, text="", example='L1 = ["choke 8H 160m 120R", "HT1", "HT2"]',
    ),
    Kind(
        "diode", ("anode", "cathode"),
        _table(
            _rating("amps", "A", "rated mean current (selenium: sets its plate area)"),
            _rating("volts", "V", "rated peak inverse volts"),
            _row("series_ohms", "ohm", "series resistance beside the junction's own law", 0.04, 0.5, "uniform", 0.3, "standing", 0.0, 1e6),
            _row("plates", "1", "selenium: plates in series", "selenium plates", 0.25, "uniform", 0.0, "standing", 0.0, 500.0),
            _row("age", "1", "selenium: 0 new, 1 aged (drop doubled)", "selenium age", 0.0, "exact", 0.2, "standing", 0.0, 1.0),
        ),
        ("amps", "volts"), types=("silicon", "selenium"), words=_WORDS, says=("rectifier",),
        text="Anode first; the cathode is the end with the ring or the plus sign. A registered type such as 1N4007 may stand for its figures.",
        example='D1 = ["selenium 100m 4 plates", "bias raw", "T1 bias 1"]',
    ),
    Kind(
        "valve", ("plate", "grid", "cathode"),
        _table(
            _row("perveance", "1", "current at the same volts, as a factor of a bogey valve's", 1.0, 0.08, "normal", 0.03, "standing, signal", 0.02, 5.0),
            _row("mu", "1", "amplification factor, as a factor of a bogey valve's", 1.0, 0.03, "normal", 0.01, "standing, signal", 0.2, 5.0),
            _row("contact", "V", "offset of the grid volts; its spread is in volts", 0.0, 0.07, "normal", 0.02, "standing, signal", -3.0, 3.0),
            _row("emission", "1", "the cathode's emission, as a factor of a good valve's", 1.0, 0.1, "normal", 0.05, "standing", 0.0, 10.0),
            _row("hk_leak_ohms", "ohm", "heater to cathode leakage", 100e6, 0.8, "uniform", 0.3, "standing, cold ohms", 1.0, 1e15),
            _row("gas", "1", "gas current of the grid, as a part of the plate current", 0.0, role="value", high=0.1),
        ),
        more_leads=("screen", "suppressor"),
        words={
            **_WORDS, "heater": "winding that heats it, or a list of joints for heater 1, heater 2 (and ct)",
            "heater_connection": '"parallel" or "series", for heaters with a centre tap', "idle": "cathode current it is set to at idle",
            "set_by": "the pot that sets its idle current", "section": "which section of the envelope: 1, 2, triode, pentode",
        },
        text="One line a section: V3a and V3b share the glass V3. A screen tied to the plate, a tap or a supply tells triode, ultralinear "
        "and pentode connection apart. A suppressor that is not stated stands on its cathode.",
        example='V2 = ["6V6GT", { plate = "T2 plate a", screen = "R11 2", heater = "T1 heat", idle = "24m", set_by = "P1" }]',
    ),
    Kind(
        "rectifier", ("plate 1", "plate 2", "cathode"),
        _table(
            _row("perveance", "1", "as for a valve", 1.0, 0.08, "normal", 0.03, "standing", 0.02, 5.0),
            _row("emission", "1", "as for a valve", 1.0, 0.1, "normal", 0.05, "standing", 0.0, 10.0),
        ),
        words={**_WORDS, "heater": "winding that heats it, or a list of joints"},
        text="A cathode that is joined to the heater in the glass needs no line of its own: the reader joins it to heater lead 2.",
        example='V7 = ["5V4G", { plate1 = "T1 ht 1", plate2 = "T1 ht 2", heater = "T1 rect", cathode = "HT1" }]',
    ),
    Kind(
        "heater", ("1", "2"),
        _table(
            _row("volts", "V", "rated volts", None, used="standing", low=0.5, high=130.0),
            _row("amps", "A", "current at rated volts", None, 0.05, "uniform", 0.05, "standing, cold ohms", 1e-3, 50.0),
        ),
        more_leads=("ct",), words=_WORDS,
        text="Made by the reader, one an envelope, named after it: V3 heater. A layer may set or rejoin it.",
    ),
    Kind(
        "transformer", (),
        _table(
            _row("magnetising_amps", "A", "primary current with nothing loaded, at its marked volts", "magnetising", 0.5, "uniform", 0.2, "standing", 0.0, 50.0),
            _row("knee_volts", "1", "primary volts where that current bends up, as a ratio of the marked volts", 1.1, 0.05, "uniform", 0.03, "standing", 0.3, 5.0),
            _row("core_loss_watts", "W", "loss of the core at its marked volts", "core loss", 0.5, "uniform", 0.2, "standing", 0.0, 1e4),
            _row("volt_amps", "VA", "rated load of all windings together", "transformer load", 0.3, "uniform", 0.0, "defaults of its windings", 0.1, 1e5),
            _later("winding_farads", "F", "capacitance between windings"),
        ),
        ("volt_amps",), words={**_WORDS, "build": "EI or toroid: its typical regulation"}, says=("mains transformer",), types=("EI", "toroid"),
        text="Windings are named by you: primary, ht, rect, heat, bias ...; see Transformers.",
        example='T1 = ["mains transformer", { primary = "230V 14R", ht = "300-0-300V 150m 90+94R", rect = "5V 2A", heat = "6.3V 4A ct" }]',
    ),
    Kind(
        "output transformer", ("plate a", "centre"),
        _table(
            _row("raa_ohms", "ohm", "what the plates see: plate to plate, or plate to centre if single-ended", None, 0.1, "uniform", 0.1, "standing, signal", 1.0, 1e6),
            _row("load_ohms", "ohm", "load that raa_ohms is stated for", 8.0, 0.0, "exact", 0.0, "signal", 0.1, 1e5),
            _row("primary_ohms", "ohm", "dc resistance of the whole primary (120+126R: side a and side b)", "output primary ohms", 0.4, "uniform", 0.05, "standing, cold ohms", 0.01, 1e5),
            _row("secondary_ohms", "ohm", "dc resistance of the whole secondary", "output secondary ohms", 0.4, "uniform", 0.1, "standing, cold ohms", 1e-3, 1e4),
            _row("screen_tap", "1", "ultralinear tap, as a part of the half primary's turns from the centre", 0.0, 0.05, "uniform", 0.02, "standing, signal", 0.0, 0.95),
            _rating("watts", "W", "rated output", used="not used yet"),
            _row("inductance", "H", "primary inductance", None, used="not used yet"),
            _row("leakage", "H", "leakage inductance", None, used="not used yet"),
            _row("winding_farads", "F", "capacitance of the primary", None, used="not used yet"),
        ),
        ("raa_ohms", "watts"), more_leads=("plate b", "screen a", "screen b", "common"), says=("output",),
        words={
            **_WORDS, "taps": 'secondary taps in ohms: "4+8+16R"', "in_phase": '"a" or "b": the plate whose swing the hot end of the secondary follows',
            "single_ended": "true: one plate", "build": "",
        },
        text="", example='T2 = ["output transformer 8k", { taps = "4+8R", primary_ohms = "120+126R", centre = "HT1", common = "chassis" }]',
    ),
    Kind(
        "fuse", ("1", "2"),
        _table(
            _row("amps", "A", "rated current", "fuse amps", 0.0, "exact", 0.0, "limits", 1e-3, 100.0),
            _row("ohms", "ohm", "cold resistance", "fuse ohms", 0.5, "uniform", 0.2, "standing, cold ohms", 0.0, 1e4),
        ),
        ("amps", "ohms"), types=("slow", "fast"), words=_LINKED, text="Without leads it stands in the line, between inlet and switch.",
        example='F1 = ["fuse 1A slow"]',
    ),
    Kind(
        "switch", ("1", "2"),
        _table(_row("ohms", "ohm", "contact resistance, closed", 0.02, 0.5, "uniform", 0.5, "standing, cold ohms", 0.0, 1e3), _rating("amps", "A", "rated current"), _rating("volts", "V", "rated volts")),
        ("amps", "volts", "ohms"), says=("mains switch", "standby switch"), words={**_WORDS, "role": '"mains" or "standby"'},
        text="Without leads a mains switch stands between fuse and primary.", example='S2 = ["standby switch", "HT1", "HT1b"]',
    ),
    Kind("inlet", ("line", "neutral", "earth"), _table(), words=_WORDS, says=("mains inlet", "mains plug", "mains cord"),
         text="Made by the reader where not stated, on the joints line, neutral and earth.", example='J2 = ["inlet", "line", "neutral", "earth"]'),
    Kind("input", ("hot", "ground"), _table(), words=_WORDS, says=("input jack", "jack"), text="", example='J1 = ["input", "in", "chassis"]'),
    Kind(
        "load", ("hot", "common"), _table(_row("ohms", "ohm", "load that belongs on these terminals", 8.0, 0.0, "exact", 0.0, "signal", 0.1, 1e5)),
        ("ohms",), words=_WORDS, says=("loudspeaker", "speaker", "loudspeaker terminals"),
        text="The terminals. What hangs there (dummy load, loudspeaker, nothing) is said by the situation.", example='LS = ["load 8R", "T2 8", "chassis"]',
    ),
    Kind("wire", ("1", "2"), _table(_row("ohms", "ohm", "resistance", 0.01, 0.5, "uniform", 0.2, "standing, cold ohms", 0.0, 100.0)),
         ("ohms",), words=_LINKED, says=("lead", "strap"), text="", example='W1 = ["wire", "HT1", "HT1b", { link = "HT link" }]'),
    Kind(
        "supply", ("+", "-"),
        _table(
            _row("volts", "V", "open-circuit volts; rms where hertz is not 0", None, 0.0, "exact", 0.0, "standing", -1e5, 1e5),
            _row("ohms", "ohm", "internal resistance", 0.01, 0.0, "exact", 0.0, "standing", 0.0, 1e9),
            _row("hertz", "Hz", "0 for dc", 0.0, used="standing", high=1e6),
        ),
        ("volts", "ohms", "hertz"), words=_WORDS, says=("bench supply",), text="A bench supply, for fragments.", example='B1 = ["supply 250V 10R", "HT", "chassis"]',
    ),
    Kind(
        "gas tube", ("anode", "cathode"),
        _table(
            _row("volts", "V", "running volts", None, 0.03, "uniform", 0.03, "standing", 10.0, 1e4),
            _row("ohms", "ohm", "slope of the running volts", 150.0, 0.5, "uniform", 0.3, "standing", 0.0, 1e6),
            _row("amps_min", "A", "least current that holds the glow", 0.005, used="limits"), _row("amps_max", "A", "most it may carry", 0.03, used="limits"),
        ),
        ("volts", "ohms"), words=_WORDS, says=("stabiliser", "glow tube"), text="", example='V9 = ["0A2", "screens", "chassis"]',
    ),
    Kind(
        "lamp", ("1", "2"),
        _table(_row("volts", "V", "rated volts", 6.3, 0.0, "exact", 0.0, "standing", 0.5, 500.0), _row("amps", "A", "current at rated volts", 0.3, 0.3, "uniform", 0.1, "standing", 1e-3, 10.0)),
        ("volts", "amps"), words=_WORDS, says=("pilot lamp",), text="", example='LP1 = ["pilot lamp 6.3V 0.3A", "T1 heat 1", "T1 heat 2"]',
    ),
)  # fmt: skip
