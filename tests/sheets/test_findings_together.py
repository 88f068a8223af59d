"""Findings that say the same of several parts are one line: four alike bury the fifth."""

from firstglow.sheets.rows import findings_text


def unfit(part: str, most: int, rating: int = 500, sold: int = 550) -> str:
    return (
        f"UNFIT AT HIGH MAINS: {part} is a {rating} V capacitor: within it today, but up to {most} V at 253 V. "
        f"Fit one of {sold} V or more: up to {most} V stand at 253 V, and {sold} V is the next rating made."
    )


def test_four_capacitors_of_one_rating_are_one_finding_with_the_most_volts() -> None:
    found = findings_text([unfit("C1", 514), unfit("left C2b", 515), "R1 (line 3): open", unfit("C3", 514)])
    assert found == [
        unfit("C1, left C2b, C3:", 515).replace(": is a", ": each is a"),
        "R1 (line 3): open",
    ]


def test_another_rating_or_another_remedy_is_a_finding_of_its_own() -> None:
    texts = [unfit("C1", 514), unfit("C2", 514, rating=450), unfit("C3", 514, sold=600)]
    assert findings_text(texts) == texts


def test_one_capacitor_is_told_as_it_was() -> None:
    assert findings_text([unfit("C1", 514)]) == [unfit("C1", 514)]
