"""Charts and intake onto a resolved amplifier."""

from dataclasses import replace

from firstglow.amplifier.charts import read_charts
from firstglow.amplifier.document import Document
from firstglow.amplifier.intake import read_intake, with_originals
from firstglow.amplifier.joints import Groups, Scopes
from firstglow.amplifier.model import Amplifier


def with_asides(document: Document, scopes: Scopes, groups: Groups, amplifier: Amplifier, lenient: bool) -> Amplifier:
    """The amplifier with what the file says beside the circuit; as it was where parts of the circuit are missing.

    lenient: fewer layers than the file has; a point or a part that only a later layer brings is passed over.
    """
    mistakes = document.mistakes
    if mistakes.broken or not {"chart", "intake"} & set(document.data):
        return amplifier
    if not lenient:
        return _said(document, scopes, groups, amplifier)
    found, missing = list(mistakes.found), dict(scopes.missing)
    said = _said(document, scopes, groups, amplifier)
    mistakes.found, mistakes.broken, scopes.missing = found, False, missing
    return said


def _said(document: Document, scopes: Scopes, groups: Groups, amplifier: Amplifier) -> Amplifier:
    charts, defaults = read_charts(document, scopes, groups, amplifier)
    said = replace(amplifier, charts=charts, intake=read_intake(document, amplifier))
    return with_originals(replace(said, defaults=(*amplifier.defaults, *defaults)))
