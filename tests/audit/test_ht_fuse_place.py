"""Where a fuse in HT is offered: in the centre tap's lead it breaks HT only where nothing else lives on that winding."""

import pytest

from firstglow.amplifier import load
from firstglow.amplifier.model import Amplifier
from firstglow.amplifier.situation import Fault, Situation
from firstglow.audit.fuse import fuses
from firstglow.audit.mains_now import today
from firstglow.solver.circuit import compile_circuit
from firstglow.solver.standing import SolveError

FILE = """format = 1
amplifier = {{ name = "Alder", drawing = "own", mains = "230V 50Hz" }}
[parts]
F1 = ["fuse 2A slow"]
S1 = ["mains switch"]
T1 = ["mains transformer", {{ primary = "230V 7R", {windings}, rect = "5V 2A", heat = "6.3V 5A ct" }}{ct}]
V5 = ["GZ34", {{ plate1 = "T1 ht 1", plate2 = "T1 ht 2", cathode = "HT1", heater = "T1 rect" }}]
C1 = ["32u 500V", "HT1", "chassis"]
D1 = ["silicon 1A 1000V", "bias raw", "{tap}"]
C4 = ["47u 160V", "chassis", "bias raw"]
R4 = ["10k 1W", "bias raw", "bias"]
C5 = ["47u 160V", "chassis", "bias"]
R5 = ["22k 1W", "bias", "chassis"]
V2 = ["EL34", {{ grid = "220k bias", plate = "T2 plate a", screen = "470R 3W HT1", cathode = "10R 1W chassis", heater = "T1 heat" }}]
T2 = ["output transformer 3k5 single-ended 10W", {{ taps = "8R", centre = "HT1", common = "chassis" }}]
LS = ["load 8R", "T2 8", "chassis"]
"""
SHARED = ('ht = "350-50-0-50-350V 200m 36+6+6+39R"', "T1 ht 50a")
OWN = ('ht = "350-0-350V 200m 42+45R", bias = "50V 50m 20R"', "T1 bias 1")
FUSED = ', { "ht ct" = "ht minus" }'


def drawn(windings: str, tap: str, fused: bool = False) -> Amplifier:
    own = ', { "bias 2" = "chassis" }' if "bias =" in windings else ""
    if fused:
        own = FUSED if not own else ', { "ht ct" = "ht minus", "bias 2" = "chassis" }'
    text = FILE.format(windings=windings, tap=tap, ct=own)
    return load(text + ('F2 = ["fuse 315m slow", "ht minus", "chassis"]\n' if fused else ""))


@pytest.mark.parametrize(
    ("winding", "where"),
    [(SHARED, "between rectifier and reservoir"), (OWN, "in the centre tap's lead")],
    ids=["a tap of it feeds the bias", "a bias winding of its own"],
)
def test_it_is_offered_where_it_breaks_ht_alone(winding: tuple[str, str], where: str) -> None:
    """With the centre tap open and bias on a tap of the same winding HT's pulses come back through C4 and D1: Kirchhoff, no way
    else is left from HT1 through chassis to the winding."""
    place = next(p for p in fuses(today(drawn(*winding))).places if p.place == "HT")
    assert any(c.startswith(where) for c in place.cautions)


@pytest.mark.parametrize(("winding", "astray"), [(SHARED, True), (OWN, False)], ids=["shared", "own"])
def test_one_drawn_there_is_told_to_be_astray(winding: tuple[str, str], astray: bool) -> None:
    place = next(p for p in fuses(today(drawn(*winding, fused=True))).places if p.part == "F2")
    assert any("does not belong in this lead" in c for c in place.cautions) == astray


def test_no_figure_is_given_of_the_way_round() -> None:
    """Open in the shared return it was told as 0 V of HT, where all of it comes back through D1 (a megohm in its place: 374 V).
    With a bias winding of its own nothing flows and HT is empty."""
    shared, own = (compile_circuit(drawn(*w, fused=True)) for w in (SHARED, OWN))
    blown = [Fault("F2", "open")]
    with pytest.raises(SolveError, match="HT1: its return is open, and it comes back through"):
        shared.solve(shared.vector(Situation(230.0), blown))
    assert abs(float(own.solve(own.vector(Situation(230.0), blown)).dc("HT1")[0])) < 1.0
    assert float(shared.solve(shared.vector(Situation(230.0))).dc("HT1")[0]) > 300.0


def test_a_standby_switch_behind_the_rectifier_is_in_nobodys_return() -> None:
    """Its one end is the rectifier's cathode, on which the rectifier's own heater winding rides: a transformer's joint, and no tap
    that HT and bias share. Open, HT is empty (C1 has only insulation to lose its charge through) and the bias stands."""
    text = FILE.format(windings=SHARED[0], tap=SHARED[1], ct="").replace(
        'cathode = "HT1", heater = "T1 rect"', 'cathode = "HT0", heater = "T1 rect"'
    )
    circuit = compile_circuit(load(text + 'S2 = ["standby switch", "HT0", "HT1"]\n'))
    on = circuit.solve(circuit.vector(Situation(230.0)))
    opened = circuit.solve(circuit.vector(Situation(230.0), [Fault("S2", "open")]))
    assert float(on.dc("HT1")[0]) > 300.0
    assert abs(float(opened.dc("HT1")[0])) < 1.0
    assert float(opened.dc("bias")[0]) < -20.0
