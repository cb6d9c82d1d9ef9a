"""The water of every storm, beside the drawing of what the check storms settled."""

from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import fields

import numpy as np

from soakline.grid import FloatArray
from soakline.stages.draining import Drained, routed
from soakline.stages.laying import Laid
from soakline.water.cascade import StormRouting
from soakline.water.event import Arrivals
from soakline.water.strips import widest_spacing_m


def begun_aside(
    laid: Laid, drained: Drained, arrivals: Arrivals
) -> tuple[Future[StormRouting], Future[FloatArray]]:
    """Begin, in a thread, what is done in compiled loops and not asked for until works are dug.

    Parameters
    ----------
    laid, drained, arrivals : of the stages before

    Returns
    -------
    every storm routed over the sills as laid; and `strips.widest_spacing_m` in the design storms
    """
    event = arrivals.event
    thread = ThreadPoolExecutor(1)
    routing = thread.submit(_routed_whole, drained, arrivals)
    spacing_m = thread.submit(
        widest_spacing_m,
        drained.pools,
        laid.length_m,
        drained.feeds.area_m2,
        event,
        event.of("design"),
        arrivals.step_s,
    )
    thread.shutdown(wait=False)
    return routing, spacing_m


def _routed_whole(drained: Drained, arrivals: Arrivals) -> StormRouting:
    """Every storm of the event: the design storms are routed now, over the sills as laid."""
    check = arrivals.event.of("check")
    rest = [storm for storm in range(len(arrivals.event.storms)) if storm not in check]
    # One core is left to the drawing.
    of_rest = routed(drained.pools, drained.outlets, drained.feeds, arrivals, rest, spared_cores=1)
    order = np.argsort([*check, *rest])

    def in_order(name: str) -> FloatArray:
        both = [getattr(one, name) for one in (drained.routing, of_rest)]
        return np.take(np.concatenate(both, axis=-1), order, axis=-1)

    return StormRouting(**{field.name: in_order(field.name) for field in fields(StormRouting)})
