"""The rows of bench/trend.json."""

import json
from dataclasses import asdict, dataclass
from pathlib import Path

TREND = Path(__file__).resolve().parent / "trend.json"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of the trend: times in s, memory in GiB, stages and kernels in ns per cell.

    `raw_ns` are kernels of richdem. What does not depend on the side (`routing_s`, `years_s`,
    `planting_*`, `demo_*`) is measured once for all sides of a run.
    """

    date: str
    version: str
    side: int
    cores: int
    load: float
    wall_s: float
    peak_gib: float
    stage_ns: dict[str, float]
    raw_ns: dict[str, float]
    times_raw: float
    rerun_s: float
    rerun_cpu_s: float
    rerun_copy_s: float
    routing_s: float
    years_s: float
    planting_s: float
    planting_gib: float
    trees: int
    demo_s: float
    demo_gib: float
    machine: str
    cpu_s: float
    pyflwdir_ns: dict[str, float]
    copy_ns: float

    @property
    def cells(self) -> int:
        return self.side**2


def append(row: Row) -> None:
    """Add a row to the trend, one line each."""
    rows = json.loads(TREND.read_text(encoding="utf-8")) if TREND.exists() else []
    rows.append(asdict(row))
    lines = ",\n".join(json.dumps(each) for each in rows)
    TREND.write_text(f"[\n{lines}\n]\n", encoding="utf-8")
