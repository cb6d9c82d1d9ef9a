"""Plants a million trees on the bands of wavy lips and prints the seconds that it took.

Lips of 400 m lie 60 m apart under each other, three strips across each kept clear as routes are,
and broad strips over many of them as drainage lines are; shade on the trenches is reckoned too.
"""

import json
import time

import numpy as np
import shapely

from soakline.planting.first_fit import Mixtures
from soakline.planting.placing import BandRow, stand
from soakline.planting.rows import Row
from soakline.planting.shade import closing_crown_m, shaded_from_year, trench_samples
from soakline.planting.trees import BANDS, Band
from soakline.section.stations import Chainages, LipStations

LIPS, LENGTH_M, STEP_M = 3600, 400.0, 10.0
IN_A_ROW, APART_M = 80, 60.0
BANDS_UPHILL_M: dict[Band, float] = {"mound": -1.5, "below": -4.5, "uphill": 3.0}
CROWN_M = np.array([4.0, 3.0, 3.0])
GROWN_YEARS = np.array([12.0, 6.0, 8.0])


def lips() -> LipStations:
    """Stations of lips that wave by 15 m, uphill to the north."""
    count = int(LENGTH_M / STEP_M) + 1
    along = np.tile(np.arange(count) * STEP_M, LIPS)
    lip = np.repeat(np.arange(LIPS), count)
    east = (lip % IN_A_ROW) * (LENGTH_M + 60.0) + along
    north = (lip // IN_A_ROW) * APART_M + 15.0 * np.sin(along / 40.0)
    slope = 15.0 / 40.0 * np.cos(along / 40.0)
    size = np.sqrt(slope**2 + 1.0)
    start = np.arange(LIPS + 1) * count
    chainage = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(east), np.diff(north)))])
    level = np.zeros(lip.size)
    return LipStations(
        Chainages(start, chainage - chainage[start[:-1]][lip]),
        east,
        north,
        -slope / size,
        1.0 / size,
        level,
        level + 0.08,
        level + 0.08,
        np.zeros((lip.size, 1)),
        np.zeros((lip.size, 1)),
    )


def main() -> None:
    """Plant twice, print the second time as JSON."""
    stations = lips()
    random = np.random.default_rng(6)
    crossed = random.integers(0, stations.easting_m.size, 3 * LIPS)
    place = np.column_stack([stations.easting_m[crossed], stations.northing_m[crossed]])
    across = np.array([0.0, 12.0])
    ways = shapely.linestrings(np.stack([place - across, place + across], axis=1))
    edge_m = float(stations.easting_m.max()), float(stations.northing_m.max())
    broad = shapely.linestrings(
        [
            np.column_stack(
                [
                    random.uniform(0.0, edge_m[0]) + np.cumsum(random.normal(0.0, 1.0, 3000)),
                    np.linspace(0.0, edge_m[1], 3000),
                ]
            )
            for _ in range(10)
        ]
    )
    blocked = np.concatenate([shapely.buffer(ways, 2.0), shapely.buffer(broad, 10.0)])
    land = np.array([shapely.box(-100.0, -100.0, edge_m[0] + 100.0, edge_m[1] + 100.0)])
    rows = [
        BandRow(band, Row(stations, np.full(stations.easting_m.size, far)), land, blocked)
        for band, far in BANDS_UPHILL_M.items()
    ]
    # Main trees and a pioneer by turns, main trees, fixers.
    turns_of: dict[Band, tuple[int, ...]] = {"mound": (0, 1), "below": (0,), "uphill": (2,)}
    own = [turns_of.get(band, ()) for band in BANDS]
    start = np.concatenate([[0], np.cumsum(np.tile([len(turns) for turns in own], LIPS))])
    mixtures = Mixtures(start, np.tile([i for turns in own for i in turns], LIPS))

    def plant() -> dict[str, float]:
        began, worked = time.perf_counter(), time.process_time()
        trees = stand(rows, lambda found: np.ones(found.lip.size, dtype=bool), mixtures, CROWN_M)
        lip, *sample = trench_samples(stations, np.full(LIPS, 3.0))
        place, tree = (sample[0], sample[1]), (trees.easting_m, trees.northing_m)
        closing_crown_m(lip, place, tree, LIPS)
        shaded_from_year(
            place,
            tree,
            np.ones(trees.lip.size, dtype=np.int64),
            CROWN_M[trees.species],
            GROWN_YEARS[trees.species],
        )
        return {
            "seconds": time.perf_counter() - began,
            "cpu_seconds": time.process_time() - worked,
            "trees": trees.lip.size,
        }

    plant()
    print(json.dumps(plant()))


if __name__ == "__main__":
    main()
