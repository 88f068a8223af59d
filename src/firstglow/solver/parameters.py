"""The parameters of a circuit: one row for everything that a tolerance, a situation or a fault can change."""

from dataclasses import dataclass

from firstglow.amplifier.model import Part, Quantity, Shape

CONTACT_OHMS = 0.01
"""What stands for a contact, a closed link or a dead short [ohm]: a few milliohms of metal and a joint (common practice).
Nothing in the equations is less."""
OPEN_OHMS = 1e30
"""What stands for an open circuit [ohm]: its current is lost beside the insulation of any joint."""
INSULATION_SIEMENS = 1e-11
"""Leakage of every joint to chassis [S]: 100 gigohm, a clean dry tag strip or socket (common practice: 10 to 1000). It is
what holds a joint that touches nothing else, until a meter does."""


@dataclass(frozen=True, slots=True)
class Parameter:
    """One row of the parameter vector.

    nominal: SI. spread: a fraction of the nominal, or in the parameter's own unit where the nominal is 0 (a contact
    potential): half width where ``shape`` is "uniform", one standard deviation where "normal", 0 where "exact".
    shared: it moves several parts together (a valve law's own uncertainty, the mains). part, attribute: "" where it
    belongs to no part.
    """

    name: str
    part: str
    attribute: str
    nominal: float
    spread: float = 0.0
    shape: Shape = "exact"
    shared: bool = False

    @property
    def sigma(self) -> float:
        """Standard deviation in the parameter's own unit (a rectangle's is half width / sqrt 3, JCGM 100 4.3.7)."""
        width = self.spread * (abs(self.nominal) or 1.0)
        return width / 3**0.5 if self.shape == "uniform" else width


class Rows:
    """Collects the rows while a circuit is compiled; asking twice for a name gives the same row."""

    def __init__(self) -> None:
        self.parameters: list[Parameter] = []
        self.row: dict[str, int] = {}

    def add(self, parameter: Parameter) -> int:
        """The row of this parameter, made if it is new."""
        found = self.row.get(parameter.name)
        if found is None:
            found = self.row[parameter.name] = len(self.parameters)
            self.parameters.append(parameter)
        return found

    def fixed(self, name: str, nominal: float, part: str = "", attribute: str = "") -> int:
        """A row without a spread: what situations and faults set."""
        return self.add(Parameter(name, part, attribute, nominal))

    def quantity(self, name: str, part: str, attribute: str, quantity: Quantity) -> int:
        """A row for a resolved quantity."""
        return self.add(Parameter(name, part, attribute, quantity.value, quantity.spread, quantity.shape))

    def of(self, part: Part, attribute: str) -> int:
        """The row of one attribute of a part."""
        return self.quantity(f"{part.name} {attribute}", part.name, attribute, part.values[attribute])
