"""One level pool through a time of steady inflow: filling, soaking, spilling, falling, running dry.

The state is the volume held. Below the sill it changes by inflow less rate × wetted ground. Above
it the wetted ground and the water surface stay as they are when full, and with the head h the weir
takes C L h^1.5. Every rule here keeps order: more water at the start or more inflow never gives
less at the end, nor less spilled. So a heavier storm lowers no figure of any swale down a chain.

All are compiled into the loop that calls them: as functions of their own they would be called a
hundred million times, arrays and all.
"""

import numba
import numpy as np

from soakline.grid import FloatArray

# With w as in `spill`, w² − w³ rises no further: past it half a part's outflow at its first rate
# would take more than the head that drives it.
_LARGEST_W = 2.0 / 3.0
_LARGEST_SQUARE = _LARGEST_W**2
_LARGEST_TOTAL = _LARGEST_W**2 + _LARGEST_W**3
# A part is so short that with this head w is no more than this.
_REFERENCE_HEAD_M = 0.3
_REFERENCE_W = 1.5


def spill_parts(weir: FloatArray, ponded_m2: FloatArray, time_s: float) -> FloatArray:
    """Into how many parts a time is divided while a pool spills.

    Parameters
    ----------
    weir : (pools,) coefficient × length of the sill, m^1.5/s
    ponded_m2 : (pools,) m²
    time_s : s

    Returns
    -------
    (pools,) whole numbers, from 1; from the pool's own sill and surface alone. If they followed
    from the inflow, a heavier storm could be routed more coarsely than a lighter one.
    """
    w = 0.5 * time_s * weir / ponded_m2 * np.sqrt(_REFERENCE_HEAD_M)
    return np.asarray(np.maximum(np.ceil(w / _REFERENCE_W), 1.0))


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _mean_decay(x: float) -> float:
    """(1 − e^−x) / x, the mean of e^−x from 0 to x; 1 at 0."""
    if x > 0.05:
        return float(-np.expm1(-x) / x)
    return 1.0 - x / 2.0 * (1.0 - x / 3.0 * (1.0 - x / 4.0 * (1.0 - x / 5.0 * (1.0 - x / 6.0))))


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def fill(
    volume_m3: float,
    inflow_m3s: float,
    time_s: float,
    unit_m3: float,
    soaking_m3s: FloatArray,
    rise_s: FloatArray,
    pool: int,
    node: int,
) -> tuple[float, float, float, int]:
    """Below the sill, with steady inflow, until full, dry or the time is over.

    Parameters
    ----------
    volume_m3 : held at the start, between `node` and the next
    inflow_m3s, time_s : steady; s
    unit_m3 : node k stands at k² times this
    soaking_m3s : (pools, nodes) soaking at each node
    rise_s : (pools, nodes − 1) rise of the soaking from each node to the next, 1/s
    pool : which
    node : below the volume

    Returns
    -------
    m³ held at the end; m³ soaked in; s left when the pool was full or dry, or 0; node below

    Notes
    -----
    Between two nodes soaking is straight in the volume, so the volume nears its balance
    exponentially: that is solved exactly, from node to node. One long time and several short ones
    give the same.
    """
    soaked, left_s = 0.0, time_s
    for _ in range(rise_s.shape[1] + 1):
        below_m3 = node * node * unit_m3
        rise = rise_s[pool, node]
        net = inflow_m3s - soaking_m3s[pool, node] - (volume_m3 - below_m3) * rise
        mean_net = net * _mean_decay(rise * left_s)
        end_m3 = volume_m3 + mean_net * left_s
        edge_m3 = (node + 1) * (node + 1) * unit_m3 if net > 0.0 else below_m3
        if (end_m3 <= edge_m3) == (net > 0.0) or end_m3 == edge_m3:
            return end_m3, soaked + (inflow_m3s - mean_net) * left_s, 0.0, node
        gap_m3 = edge_m3 - volume_m3
        lost = rise * gap_m3 / net
        taken_s = gap_m3 / net
        if lost > 0.0:
            taken_s *= -np.log1p(-lost) / lost
        taken_s = min(taken_s, left_s)
        soaked += max(inflow_m3s * taken_s - gap_m3, 0.0)
        left_s -= taken_s
        volume_m3 = edge_m3
        if net > 0.0:
            if node + 1 == rise_s.shape[1]:
                return volume_m3, soaked, left_s, node
            node += 1
        else:
            if node == 0:
                return volume_m3, soaked, left_s, node
            node -= 1
    # More crossings than nodes: by round-off back and forth over one, where the pool is in balance.
    return volume_m3, soaked + inflow_m3s * left_s, 0.0, node


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _root(total: float) -> float:
    """The w at which w² + w³ is the total, up to `_LARGEST_W`; past it 2 w³ + 4/27."""
    if total >= _LARGEST_TOTAL:
        return float(np.cbrt(0.5 * (total - 4.0 / 27.0)))
    return _root_within(total)


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _root_within(total: float) -> float:
    """The w at which w² + w³ is the total, below `_LARGEST_TOTAL`.

    One step of Halley from a fitted guess within 5e-5 is exact to 3e-14.
    """
    r = float(np.sqrt(total))
    fit = -0.49611 + r * (0.56437 + r * (-0.61385 + r * (0.43759 - r * 0.13809)))
    w = r * (0.99996 + r * fit)
    off = w * w * (1.0 + w) - total
    slope = w * (2.0 + 3.0 * w)
    return w - 2.0 * off * slope / (2.0 * slope * slope - off * (2.0 + 6.0 * w) + 1e-300)


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def _half_outflow(w: float) -> float:
    """Outflow of half a part at its first rate, w³; past `_LARGEST_W` no more than keeps order."""
    if w <= _LARGEST_W:
        return w * w * w
    return w * w - 4.0 / 27.0


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def spill(
    over_m3: float, net_m3s: float, time_s: float, parts: int, per_m2: float, half_weir: float
) -> tuple[float, float, float]:
    """Above the sill, with steady net inflow, until the water falls to it or the time is over.

    Parameters
    ----------
    over_m3 : held above the sill at the start
    net_m3s : inflow less soaking
    time_s : s
    parts : of the time, each routed by itself
    per_m2 : 1 / water surface
    half_weir : coefficient × length of the sill / (2 × water surface), m^-0.5/s

    Returns
    -------
    m³ spilled; m³ held above the sill at the end; s left when the water fell to the sill, or 0

    Notes
    -----
    Storage indication, [Chow1988]_ section 8.2: 2 S/Δt + Q at the end of a part is 2 S/Δt − Q at
    its start plus the inflow at both ends. With w = Δt C L √h / (2 ponded) all of it becomes
    w² + w³ = (w² − w³ at the start) + gain, one cubic for every pool. Where w passes 2/3,
    2 S/Δt − Q would fall as the water rises; there Q is held to what keeps it level, and the part
    ends in the steady state. So the rule is of second order where a part is short for the pool,
    and neither swings nor overshoots where it is long.
    """
    # Divided as seldom as can be: of all that routing does, this is done most often.
    part_s = time_s if parts == 1 else time_s / parts
    reach = part_s * half_weir
    per_m3 = reach * reach * per_m2
    gain = per_m3 * part_s * net_m3s
    w = np.sqrt(per_m3 * over_m3)
    unit_m3 = 1.0 / per_m3
    spilled = 0.0
    for part in range(parts):
        half = _half_outflow(w)
        total = w * w - half + gain
        if total < 0.0:
            share = w * w / (half - gain)
            return (spilled + share * half) * unit_m3, 0.0, (parts - part - share) * part_s
        w = _root(total)
        spilled += half + 2.0 * w * w * w - _half_outflow(w)
    return spilled * unit_m3, w * w * unit_m3, 0.0


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def spill_many(over_m3: FloatArray, net_m3s: FloatArray, per_m3: FloatArray, time_s: float) -> None:
    """`spill` of many pools in one part each, in place and straight through, to run in vectors.

    Parameters
    ----------
    over_m3 : (pools,) as of `spill`; then what is held above the sill at the end
    net_m3s : (pools,) as of `spill`; then the m³ spilled, or −1 where the rule of one part does
        not do: the pool is not over its sill at the start or at the end, or w passes 2/3
    per_m3 : (pools,) reach² / ponded; see `spill`
    time_s : s
    """
    for c in range(over_m3.size):
        start = per_m3[c] * over_m3[c]
        square = max(0.0, start)
        half = square * np.sqrt(square)
        total = square - half + per_m3[c] * time_s * net_m3s[c]
        w = _root_within(max(0.0, total))
        unit_m3 = 1.0 / per_m3[c]
        does = (
            (start > 0.0) & (start <= _LARGEST_SQUARE) & (total >= 0.0) & (total < _LARGEST_TOTAL)
        )
        net_m3s[c] = (half + w * w * w) * unit_m3 if does else -1.0
        over_m3[c] = w * w * unit_m3


@numba.njit(cache=True, nogil=True, error_model="numpy", inline="always")
def pool_step(
    volume_m3: float,
    inflow_m3s: float,
    time_s: float,
    unit_m3: float,
    soaking_m3s: FloatArray,
    rise_s: FloatArray,
    per_m2: float,
    half_weir: float,
    parts: int,
    pool: int,
    node: int,
) -> tuple[float, float, float, float, int]:
    """One pool through one time of steady inflow, divided where it reaches or leaves its sill.

    Parameters
    ----------
    volume_m3, inflow_m3s, time_s : held at the start; steady; s
    unit_m3, soaking_m3s, rise_s, pool, node : as of `fill`
    per_m2, half_weir, parts : as of `spill`

    Returns
    -------
    m³ held at the end; m³ soaked in; m³ spilled; s left when the pool ran dry, or 0; node below
    """
    full_m3 = rise_s.shape[1] * rise_s.shape[1] * unit_m3
    soaked, spilled, left_s = 0.0, 0.0, time_s
    if volume_m3 <= full_m3:
        volume_m3, soaked, left_s, node = fill(
            volume_m3, inflow_m3s, left_s, unit_m3, soaking_m3s, rise_s, pool, node
        )
    if left_s > 0.0 and volume_m3 > 0.0:
        rate = soaking_m3s[pool, -1]
        spilled, over_m3, falling_s = spill(
            volume_m3 - full_m3, inflow_m3s - rate, left_s, parts, per_m2, half_weir
        )
        soaked += rate * (left_s - falling_s)
        volume_m3 = full_m3 + over_m3
        left_s = falling_s
        if left_s > 0.0:
            volume_m3, more, left_s, node = fill(
                volume_m3, inflow_m3s, left_s, unit_m3, soaking_m3s, rise_s, pool, node
            )
            soaked += more
    # Dry ground takes what comes from then on.
    return volume_m3, soaked + inflow_m3s * left_s, spilled, left_s, node
