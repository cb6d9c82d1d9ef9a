"""Routes 2,000 swales through 14 storms and prints the seconds that it took, compiled code warm."""

import json
import time

import numpy as np

from soakline.inputs.types import RainTable
from soakline.water.cascade import route_storms
from soakline.water.event import arrivals_of, event_of, feeds_of
from soakline.water.land import GroundClass, Land
from soakline.water.losses import curve_number_loss
from soakline.water.network import Spill, chain_of
from soakline.water.pools import pools_of
from soakline.water.storms import storms_for

SWALES = 2000
ROWS = 80  # chains side by side, each 25 swales long
RAIN = RainTable(
    np.array([10.0, 30.0, 60.0, 180.0, 360.0, 720.0, 1440.0]),
    ("100",),
    np.array([[21.0], [38.0], [52.0], [77.0], [95.0], [118.0], [146.0]]),
)


def main() -> None:
    """Make a random chain, route it twice, print the second time as JSON."""
    random = np.random.default_rng(11)
    land = Land((GroundClass("pasture", 74.0, "loam"),))
    storms = tuple(s for s in storms_for(RAIN, 0, 0, "both") if s.purpose == "check")
    event = event_of(storms, land, [curve_number_loss(74.0, "II")], "curvilinear")
    length = random.uniform(40.0, 400.0, SWALES)
    ponded = 3.0 * length
    feeds = feeds_of((length * random.uniform(60.0, 120.0, SWALES))[:, None], ponded, land)
    one = np.ones(SWALES)
    pools = pools_of(
        1.5 * one, 0.5 * one, 1.5 * one, length, 0.5 * one, ponded, 0.0066 * one,
        random.uniform(1.0, 20.0, SWALES), 1.45,
    )  # fmt: skip
    spills = [Spill(i, i + ROWS, 1.0) for i in range(SWALES - ROWS)]
    chain = chain_of(SWALES, spills)
    travel = random.uniform(60.0, 600.0, len(spills))
    tc_h = random.uniform(0.1, 0.3, SWALES)

    def route() -> float:
        began = time.perf_counter()
        arrivals = arrivals_of(event, tc_h)
        route_storms(
            pools, chain, travel, lambda k: arrivals.inflow_m3(k, feeds), arrivals.step_s,
            [arrivals.rain_s(k) for k in range(len(storms))],
        )  # fmt: skip
        return time.perf_counter() - began

    route()
    print(json.dumps({"seconds": route(), "storms": len(storms)}))


if __name__ == "__main__":
    main()
