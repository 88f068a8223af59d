"""Predictions of a publication by a law that has not seen it: for accuracy and for the law's uncertainty."""

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace

import numpy as np

from firstglow.devices.catalogue import ValveType, build, type_names, valve_type
from firstglow.devices.fit import Bench, predict
from firstglow.devices.fit_rows import CURRENTS, CUTOFF_AMPS, FitRow, rows_of, twins
from firstglow.devices.fit_types import out_of, type_entry
from firstglow.devices.fit_uncertainty import law_sigma, log_slopes
from firstglow.devices.published import published_types
from firstglow.devices.rectifier import RectifierLaw
from firstglow.devices.smooth import DeviceError


def used_in_fit(name: str, where: str) -> bool:
    """Whether a printed row of ``data/valves.toml`` is in the type's fit, itself or as the row that says the same.

    name: any designation. where: "points[3]", "rc_stages[0]", "typical_ops[2]".
    """
    valve = valve_type(name)
    own = twins(valve.variant_of or valve.name).get(where, where)
    return any(own in s.rows for s in valve.sections)


def publications(name: str) -> tuple[str, ...]:
    """The publications behind a type's rows, as ``fit_blind`` leaves them out."""
    valve = valve_type(name)
    return tuple(sorted({r.publication for r in rows_of(valve.variant_of or valve.name)}))


def fit_blind(name: str, without: Collection[str]) -> ValveType:
    """The type refitted with some publications left out, law uncertainty and all: for ``compile_circuit(types=...)``.

    without: names from ``publications`` ("RCA: push-pull operation") or whole makers ("RCA").
    Raises DeviceError when a section has no current left to be fitted to (nothing is then predicted, not a guess), or
    when no row of the type belongs to any of them.
    """
    valve = valve_type(name)
    of = valve.variant_of or valve.name
    known = publications(name)
    if not any(out_of(r, without) for r in rows_of(of)):
        raise DeviceError(f"{name}: no row of {', '.join(sorted(without))}; its publications are {'; '.join(known)}")
    blind = build(valve.name, type_entry(of, without))
    laws = {s.name: s for s in blind.sections}
    fresh = ("law", "law_uncertainty", "trusted", "rows", "publications")
    sections = tuple(replace(s, **{f: getattr(laws[s.name], f) for f in fresh}) for s in valve.sections)
    return replace(valve, sections=sections)


@dataclass(frozen=True, slots=True)
class BlindRow:
    """One published current and what the type's law gives without that publication.

    off: ln(predicted/published). law_sigma: 1 sigma of it that the blind law's own uncertainty makes. row: as printed.
    """

    type: str
    row: FitRow
    predicted: float
    off: float
    law_sigma: float


def blind_study() -> Iterator[BlindRow]:
    """Every published current that another publication of the type can predict (cut-off rows and upper limits aside),
    each by a fit without its own publication. About 3 s for all types."""
    for name in type_names():
        if "points" not in published_types().get(name, {}):
            continue
        rows = [r for r in rows_of(name) if r.used and r.what in CURRENTS and not r.bound]
        for publication in publications(name):
            left_out = [r for r in rows if r.publication == publication and r.published > CUTOFF_AMPS]
            if not left_out:
                continue
            try:
                blind = fit_blind(name, [publication])
            except DeviceError:
                continue  # nothing is left to predict it from
            yield from _predictions(blind, left_out)


def _predictions(blind: ValveType, rows: list[FitRow]) -> Iterator[BlindRow]:
    for section in {s.kind: s for s in blind.sections}.values():
        own = [r for r in rows if r.section == section.kind]
        if not own or isinstance(section.law, RectifierLaw):
            continue
        bench = Bench.of(own)
        value, _ = predict(section.law, bench)
        sigma = law_sigma(section.law_uncertainty, log_slopes(section.law, bench))
        for row, predicted, width in zip(own, value, sigma, strict=True):
            off = float(np.log(predicted / row.published))
            yield BlindRow(blind.name, row, float(predicted), off, float(width))
