"""What every store of records does, whatever it is kept in."""

from typing import Protocol

from firstglow.records.record import Record


class RecordsError(Exception):
    """Records that cannot be used as they are: ``FILE:LINE: part: found; allowed; try``."""


MEMORY = "memory"


class Store(Protocol):
    """Append-only. Whoever holds one is the only one who writes."""

    @property
    def name(self) -> str:
        """What messages call it."""
        ...

    @property
    def told(self) -> tuple[str, ...]:
        """What had to be set right on opening, in bench words; empty where nothing."""
        ...

    def append(self, record: Record) -> None:
        """Keep a record: it is on the disc when this returns. OSError where it cannot be, and then it is not kept."""
        ...

    def records(self) -> tuple[Record, ...]:
        """All of them, oldest first."""
        ...

    def close(self) -> None:
        """Let go of it."""
        ...


class MemoryStore:
    """Records that live as long as the program: a rehearsal, a dry run."""

    def __init__(self) -> None:
        self._records: list[Record] = []

    @property
    def name(self) -> str:
        """What messages call it."""
        return MEMORY

    @property
    def told(self) -> tuple[str, ...]:
        """Nothing is ever set right."""
        return ()

    def append(self, record: Record) -> None:
        """Keep a record."""
        self._records.append(record)

    def records(self) -> tuple[Record, ...]:
        """All of them, oldest first."""
        return tuple(self._records)

    def close(self) -> None:
        """Nothing to let go of."""
