"""The attribute and fault tables as Markdown, for docs/file.md."""

from collections.abc import Iterable
from pathlib import Path

from firstglow.amplifier.attributes import Attribute, Kind, kinds
from firstglow.amplifier.defaults import SAID_BY
from firstglow.amplifier.faults import FAULTS, Mode
from firstglow.quantities import show


def kind_tables() -> str:
    """One heading and table a kind."""
    return "\n\n".join(_kind(kind) for kind in kinds().values())


def _kind(kind: Kind) -> str:
    leads = ", ".join(f"`{x}`" for x in kind.leads) or "those of its windings"
    more = f"; by name only {', '.join(f'`{x}`' for x in kind.more_leads)}" if kind.more_leads else ""
    lines = [f"### {kind.name}", "", f"Leads: {leads}{more}."]
    if kind.types:
        lines.append(f"Types: {', '.join(kind.types)}.")
    if kind.says:
        lines.append(f"Also called: {', '.join(kind.says)}.")
    if kind.text:
        lines.append(kind.text)
    if kind.example:
        lines += ["", "```toml", kind.example, "```"]
    lines += [
        "",
        "| attribute | unit | what | default | its spread | stated | used by |",
        "|---|---|---|---|---|---|---|",
    ]
    lines += [_row(row) for row in kind.attributes.values() if not row.name.startswith(("body_", "lead_"))]
    lines += [f"| `{word}` | text | {text} | | | | |" for word, text in kind.words.items() if text]
    return "\n".join(lines)


def _row(row: Attribute) -> str:
    if row.default is None:
        default = "unknown" if row.role == "rating" else "none" if row.used == "not used yet" else "must be said"
    elif isinstance(row.default, str):
        default = SAID_BY[row.default]
    else:
        default = show(row.default, row.unit)
    unit = "" if row.unit == "1" else row.unit
    spread = _spread(row.spread, row.shape, row) if row.default is not None else ""
    stated = _spread(row.stated, row.shape, row) if row.stated else ""
    return f"| `{row.name}` | {unit} | {row.text} | {default} | {spread} | {stated} | {row.used} |"


def _spread(value: float, shape: str, row: Attribute) -> str:
    if not value:
        return "exact"
    if row.name == "contact":
        return f"{value:g} V, 1 sigma"
    return f"{100 * value:.3g} %" + (", 1 sigma" if shape == "normal" else "")


def fault_table() -> str:
    """All modes of all kinds."""
    lines = ["| kind | mode | what it does | value |", "|---|---|---|---|"]
    for kind, modes in FAULTS.items():
        lines += [f"| {kind} | `{mode.name}` | {mode.does} | {_range(mode)} |" for mode in modes]
    return "\n".join(lines)


def _range(mode: Mode) -> str:
    if mode.unit is None:
        return ""
    if mode.unit == "V":
        return f"volts, {mode.low:g} to {mode.high:g} of the mains"
    return f"{show(mode.low, mode.unit)} to {show(mode.high, mode.unit)}"


def example_table(files: Iterable[Path]) -> str:
    """Which kinds stand in which example file."""
    from firstglow.amplifier.reading import load

    read = {f.name.split("-")[0] if f.parent.name == "examples" else f.stem: load(f, as_="drawn") for f in files}
    lines = ["| kind | " + " | ".join(read) + " |", "|---|" + "---|" * len(read)]
    for kind in kinds():
        counts = [len(a.of_kind(kind)) for a in read.values()]
        lines.append(f"| {kind} | " + " | ".join(str(n) if n else "" for n in counts) + " |")
    return "\n".join(lines)
