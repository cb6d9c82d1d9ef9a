"""Sills laid over the ways that lead to safe ends, as long as the lip allows."""

from dataclasses import dataclass

import numpy as np
import pytest

from soakline.overflow.room import sills_laid
from soakline.siting.exits import Exit, Exits
from soakline.siting.stretches import Stretch

SAFE, UNSAFE = 1, 2


@dataclass(frozen=True)
class DrawnWays:
    """One lip; ways lead to the safe end from some of it, to another from the rest."""

    safe_m: tuple[tuple[float, float], ...]

    def exit_at(self, stretch: Stretch, swale: int, along_m: float, at_end: bool) -> Exit:
        goal = SAFE if any(a <= along_m <= b for a, b in self.safe_m) else UNSAFE
        return Exit(swale, along_m, stretch, at_end, 0, goal, 10.0, False, (0.0, 0.0))

    def off_edge(self, _: Exit) -> bool:
        return False


def tried(ways: DrawnWays, places: list[tuple[float, Stretch]]) -> Exits:
    exits = [ways.exit_at(stretch, 0, at, at_end=False) for at, stretch in places]
    count = len(exits)
    return Exits(
        first=np.array([0, count]),
        leads_off=np.ones(1, dtype=bool),
        swale=np.zeros(count, dtype=np.int64),
        along_m=np.array([own.along_m for own in exits]),
        start_m=np.array([own.stretch.start_m for own in exits]),
        end_m=np.array([own.stretch.end_m for own in exits]),
        cut_in=np.array([own.stretch.cut_in for own in exits]),
        at_end=np.zeros(count, dtype=bool),
        start_cell=np.zeros(count, dtype=np.int64),
        goal=np.array([own.goal for own in exits]),
        way_m=np.full(count, 10.0),
        crosses_track=np.zeros(count, dtype=bool),
        first_station=np.arange(count + 1),
        station_row=np.zeros(count),
        station_column=np.zeros(count),
    )


@pytest.mark.parametrize(
    ("wanted_m", "laid_m"), [(3.0, [(0.0, 3.0)]), (9.0, [(0.0, 3.0), (24.0, 30.0)])]
)
def test_where_sills_are_short_places_between_those_tried_are_tried_too(
    wanted_m: float, laid_m: list[tuple[float, float]]
) -> None:
    """None of the three places tried on the long stretch leads to the safe end."""
    ways = DrawnWays(((0.0, 3.0), (26.0, 34.0)))
    short, long = Stretch(0.0, 3.0, cut_in=False), Stretch(10.0, 50.0, cut_in=False)
    exits = tried(ways, [(1.5, short), (10.0, long), (36.0, long), (50.0, long)])
    allowed = np.array([False, True, False])
    laid = sills_laid(exits, np.arange(4), wanted_m, allowed, ways)  # type: ignore[arg-type]
    assert sum(end - start for _, start, end in laid) == pytest.approx(wanted_m)
    spans = np.array([(start, end) for _, start, end in laid])
    assert spans == pytest.approx(np.array(laid_m))
    assert all(way.goal == SAFE for way, _, _ in laid)
