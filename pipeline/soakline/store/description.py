"""What a store holds, for a line at the end of a run and for whoever asks."""

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from soakline.store.folder import entries


@dataclass(frozen=True, slots=True)
class StageEntries:
    """What is kept of one stage: how many results, and how big."""

    stage: str
    count: int
    size_bytes: int


@dataclass(frozen=True, slots=True)
class StoreDescription:
    """Where a store is and what is in it; as text, one line.

    Parameters
    ----------
    folder : None where nothing is kept
    size_bytes, limit_bytes : of all entries
    stages : by name
    """

    folder: Path | None
    size_bytes: int
    limit_bytes: int
    stages: tuple[StageEntries, ...]

    def __str__(self) -> str:
        if self.folder is None:
            return "no stage store"
        by_stage = ", ".join(f"{own.stage} {own.count}" for own in self.stages) or "empty"
        size = f"{self.size_bytes / 2**20:,.0f} MiB of at most {self.limit_bytes / 2**30:g} GiB"
        return f"stage store {self.folder}: {size} ({by_stage})"


def described(folder: Path | None, limit_bytes: int) -> StoreDescription:
    """Look into a store's folder."""
    there = [] if folder is None else entries(folder)
    count, size = Counter[str](), Counter[str]()
    for entry in there:
        count[entry.stage] += 1
        size[entry.stage] += entry.size_bytes
    stages = tuple(StageEntries(stage, count[stage], size[stage]) for stage in sorted(count))
    return StoreDescription(folder, size.total(), limit_bytes, stages)
