"""The table of kinds and their attributes: data only.

Defaults and their spreads are what an honest person would assume of an unknown part. Sources, where a figure is more
than common practice, stand in the text of the row; "not used yet" rows are accepted, kept and reported as such.
"""

from firstglow.amplifier.attributes import Kind
from firstglow.amplifier.kinds_passive import PASSIVE
from firstglow.amplifier.kinds_valves import VALVES_AND_WINDINGS
from firstglow.amplifier.rows import LINKED, WORDS, rating, row, table

TABLE: tuple[Kind, ...] = (
    *PASSIVE,
    *VALVES_AND_WINDINGS,
    Kind(
        "fuse",
        ("1", "2"),
        table(
            row("amps", "A", "rated current", "fuse amps", 0.0, "exact", 0.0, "limits", 1e-3, 100.0),
            row("ohms", "ohm", "cold resistance", "fuse ohms", 0.5, "uniform", 0.2, "standing, cold ohms", 0.0, 1e4),
        ),
        ("amps", "ohms"),
        types=("slow", "fast"),
        words=LINKED,
        text="Without leads it stands in the line, between inlet and switch.",
        example='F1 = ["fuse 1A slow"]',
    ),
    Kind(
        "switch",
        ("1", "2"),
        table(
            row(
                "ohms", "ohm", "contact resistance, closed", 0.02, 0.5, "uniform", 0.5, "standing, cold ohms", 0.0, 1e3
            ),
            rating("amps", "A", "rated current"),
            rating("volts", "V", "rated volts"),
        ),
        ("amps", "volts", "ohms"),
        says=("mains switch", "standby switch"),
        words={**WORDS, "role": '"mains" or "standby"'},
        text="Without leads a mains switch stands between fuse and primary.",
        example='S2 = ["standby switch", "HT1", "HT1b"]',
    ),
    Kind(
        "inlet",
        ("line", "neutral", "earth"),
        table(rating("amps", "A", "rated current")),
        words=WORDS,
        says=("mains inlet", "mains plug", "mains cord"),
        text="Made by the reader where not stated, on the joints line, neutral and earth.",
        example='J2 = ["inlet", "line", "neutral", "earth"]',
    ),
    Kind(
        "input",
        ("hot", "ground"),
        table(),
        words=WORDS,
        says=("input jack", "input socket", "rca socket", "phono socket", "din socket", "jack"),
        text="",
        example='J1 = ["input", "in", "chassis"]',
    ),
    Kind(
        "load",
        ("hot", "common"),
        table(row("ohms", "ohm", "load that belongs on these terminals", 8.0, 0.0, "exact", 0.0, "signal", 0.1, 1e5)),
        ("ohms",),
        words=WORDS,
        says=("loudspeaker", "speaker", "loudspeaker terminals"),
        text="The terminals. What hangs there (dummy load, loudspeaker, nothing) is said by the situation.",
        example='LS = ["load 8R", "T2 8", "chassis"]',
    ),
    Kind(
        "wire",
        ("1", "2"),
        table(
            row("ohms", "ohm", "resistance", 0.01, 0.5, "uniform", 0.2, "standing, cold ohms", 0.0, 100.0),
            rating("amps", "A", "what its section carries"),
            rating("volts", "V", "its insulation to chassis: U0 of U0/U, ac rms; not U, from core to core"),
        ),
        ("ohms",),
        words=LINKED,
        says=("lead", "strap"),
        text="",
        example='W1 = ["wire", "HT1", "HT1b", { link = "HT link" }]',
    ),
    Kind(
        "supply",
        ("+", "-"),
        table(
            row(
                "volts",
                "V",
                "open-circuit volts; rms where hertz is not 0",
                None,
                0.0,
                "exact",
                0.0,
                "standing",
                -1e5,
                1e5,
            ),
            row("ohms", "ohm", "internal resistance", 0.01, 0.0, "exact", 0.0, "standing", 0.0, 1e9),
            row("hertz", "Hz", "0 for dc", 0.0, used="standing", high=1e6),
        ),
        ("volts", "ohms", "hertz"),
        words=WORDS,
        says=("bench supply",),
        text="A bench supply, for fragments.",
        example='B1 = ["supply 250V 10R", "HT", "chassis"]',
    ),
    Kind(
        "gas tube",
        ("anode", "cathode"),
        table(
            row("volts", "V", "running volts", None, 0.03, "uniform", 0.03, "standing", 10.0, 1e4),
            row("ohms", "ohm", "slope of the running volts", 150.0, 0.5, "uniform", 0.3, "standing", 0.0, 1e6),
            row("amps_min", "A", "least current that holds the glow", 0.005, used="limits"),
            row("amps_max", "A", "most it may carry", 0.03, used="limits"),
        ),
        ("volts", "ohms"),
        words=WORDS,
        says=("stabiliser", "glow tube"),
        text="",
        example='V9 = ["0A2", "screens", "chassis"]',
    ),
    Kind(
        "lamp",
        ("1", "2"),
        table(
            row("volts", "V", "rated volts", 6.3, 0.0, "exact", 0.0, "standing", 0.5, 500.0),
            row("amps", "A", "current at rated volts", 0.3, 0.3, "uniform", 0.1, "standing", 1e-3, 10.0),
        ),
        ("volts", "amps"),
        words=WORDS,
        says=("pilot lamp",),
        text="",
        example='LP1 = ["pilot lamp 6.3V 0.3A", "T1 heat 1", "T1 heat 2"]',
    ),
)
