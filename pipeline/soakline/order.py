"""The order in which water passes whatever passes it on."""

import heapq
from collections.abc import Sequence


def from_the_top(onward: Sequence[Sequence[int]]) -> tuple[int, ...]:
    """Order places so that each comes before all that it passes water on to.

    Parameters
    ----------
    onward : for each of n places, the indices of those that it passes water on to; one may be
        named twice

    Returns
    -------
    Indices of all places; of those that could come next, the lowest does, so that the order is the
    same in every run

    Raises
    ------
    ValueError
        If water could come back to where it was: a defect of ours.

    Notes
    -----
    Kahn 1962, Communications of the ACM 5 (11).

    Examples
    --------
    >>> from_the_top([[], [0], [1, 0]])
    (2, 1, 0)
    """
    waiting_for = [0] * len(onward)
    for receivers in onward:
        for place in receivers:
            waiting_for[place] += 1
    ready = [place for place, count in enumerate(waiting_for) if count == 0]
    order: list[int] = []
    while ready:
        order.append(heapq.heappop(ready))
        for place in onward[order[-1]]:
            waiting_for[place] -= 1
            if waiting_for[place] == 0:
                heapq.heappush(ready, place)
    if len(order) < len(onward):
        raise ValueError("water runs in a circle")
    return tuple(order)
