"""The smallest section that holds the design storm, swale by swale down the chain."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numba
import numpy as np

from soakline.cores import cores
from soakline.grid import BoolArray, FloatArray
from soakline.inputs.types import IndexArray
from soakline.water.cascade import apart, pool_arrays, route_in_parts
from soakline.water.chain_steps import QUARTERS, ChainArrays, PoolArrays
from soakline.water.level_pool import fill, pool_step
from soakline.water.pools import Pools, full_to_empty_h

# Kept for what arrives late, by long chains and long ways.
_TAIL_S = 24 * 3600.0
# A swale that spills less than this share of its inflow holds the storm.
_HOLDS = 1e-9


@dataclass(frozen=True, eq=False, slots=True)
class Sizes:
    """Which section each swale gets; all (swales,).

    Parameters
    ----------
    choice : index among the sections
    holds : whether it holds the storm
    """

    choice: IndexArray
    holds: BoolArray


def size_down_chain(
    choices: Sequence[Pools],
    chain: ChainArrays,
    full_inflow_m3: FloatArray,
    rain_m: FloatArray,
    area_m2: FloatArray,
    step_s: float,
    max_drain_h: float,
) -> Sizes:
    """Size every swale, each knowing what the ones above spill with the sections they got.

    Parameters
    ----------
    choices : the swales' pools with each section, from the one that holds least to the one that
        holds most; which sections these are may differ from swale to swale
    chain : swales in order, from the top
    full_inflow_m3 : (swales, steps) what each whole catchment sheds, as if none of it were water
    rain_m : (steps,) rain in each step, m
    area_m2 : (swales,) whole catchments
    step_s : s
    max_drain_h : longest time from full to empty

    Returns
    -------
    Sizes

    Notes
    -----
    The smallest section that holds the storm, if it empties in time; else of those that hold it the
    one that empties first; where none holds it, the largest.

    A swale that holds the storm spills nothing, whichever section that is; any other has its
    largest. So the chain routed with all the largest tells which hold, and what they receive.
    """
    swales = area_m2.size
    holds = _held_by_largest(choices[-1], chain, full_inflow_m3, rain_m, area_m2, step_s)
    empties = np.stack([full_to_empty_h(pools) for pools in choices])
    order = np.argsort(empties, axis=0, kind="stable").astype(np.int64)
    # The same arrays as of one pool each, with the sections as first axis.
    arrays = [pool_arrays(pools, np.arange(swales), step_s) for pools in choices]
    stacked = PoolArrays(
        *(np.stack([getattr(one, name) for one in arrays]) for name in PoolArrays._fields)
    )
    steps = full_inflow_m3.shape[1] + int(np.ceil(_TAIL_S / step_s))
    arriving = np.zeros((swales, QUARTERS * steps))
    sizes = Sizes(np.full(swales, len(choices) - 1), holds)

    def size(places: IndexArray) -> None:
        _size(
            stacked,
            chain,
            places,
            full_inflow_m3,
            rain_m,
            area_m2,
            step_s,
            empties <= max_drain_h,
            order,
            holds,
            arriving,
            sizes.choice,
        )

    asked = _with_all_above(chain, holds)
    workers = cores()
    with ThreadPoolExecutor(workers) as threads:
        list(threads.map(size, [own[asked[own]] for own in apart(chain, workers)]))
    return sizes


def _held_by_largest(
    largest: Pools,
    chain: ChainArrays,
    full_inflow_m3: FloatArray,
    rain_m: FloatArray,
    area_m2: FloatArray,
    step_s: float,
) -> BoolArray:
    """Swales that hold the storm with their largest sections, all others having theirs."""
    covered = np.divide(largest.ponded_m2, area_m2, out=np.ones_like(area_m2), where=area_m2 > 0.0)
    inflow = full_inflow_m3 * np.maximum(1.0 - covered, 0.0)[:, None]
    inflow[:, : rain_m.size] += largest.ponded_m2[:, None] * rain_m
    routed = route_in_parts(largest, chain, inflow, step_s, rain_m.size * step_s)
    return np.asarray(routed.overflow_m3 <= _HOLDS * routed.inflow_m3)


def _with_all_above(chain: ChainArrays, asked: BoolArray) -> BoolArray:
    """Places of swales that are asked for, and of all whose water may come to them."""
    found = asked[chain.order]
    for place in range(found.size - 1, -1, -1):
        to = chain.to[chain.first[place] : chain.first[place + 1]]
        found[place] |= bool(found[to].any())
    return found


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _spilled(
    choices: PoolArrays,
    k: int,
    i: int,
    own_m3: FloatArray,
    rain_m: FloatArray,
    area_m2: float,
    arriving_m3: FloatArray,
    step_s: float,
    stop_m3: float,
    out_m3: FloatArray,
) -> float:
    """What a swale spills of a storm with one section, m³; stops once it is over `stop_m3`."""
    held, spilled, node = 0.0, 0.0, 0
    ponded = 1.0 / choices.per_m2[k, i]
    dry = max(1.0 - ponded / area_m2, 0.0) if area_m2 > 0.0 else 0.0
    quarter_s = step_s / QUARTERS
    out_m3[:] = 0.0
    for step in range(arriving_m3.size // QUARTERS):
        came = 0.0
        if step < own_m3.size:
            came += own_m3[step] * dry
        if step < rain_m.size:
            came += rain_m[step] * ponded
        first, last = QUARTERS * step, QUARTERS * (step + 1)
        arrives = arriving_m3[first:last].any()
        if held == 0.0 and came == 0.0 and not arrives:
            continue
        if held <= choices.full_m3[k, i] and not arrives:
            # As in routing: below the sill a whole step at once.
            volume, _, left_s, at = fill(
                held,
                came / step_s,
                step_s,
                choices.unit_m3[k, i],
                choices.soaking_m3s[k],
                choices.rise_s[k],
                i,
                node,
            )
            if left_s == 0.0 or volume == 0.0:
                held, node = volume, at
                continue
        for quarter in range(first, last):
            held, _, over, _, node = pool_step(
                held,
                (came / QUARTERS + arriving_m3[quarter]) / quarter_s,
                quarter_s,
                choices.unit_m3[k, i],
                choices.soaking_m3s[k],
                choices.rise_s[k],
                choices.per_m2[k, i],
                choices.half_weir[k, i],
                choices.parts[k, i],
                i,
                node,
            )
            out_m3[quarter] = over
            spilled += over
        if spilled > stop_m3:
            break
    return spilled


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _choose(
    choices: PoolArrays,
    i: int,
    own_m3: FloatArray,
    rain_m: FloatArray,
    area_m2: float,
    arriving_m3: FloatArray,
    step_s: float,
    in_time: BoolArray,
    by_emptying: IndexArray,
    out_m3: FloatArray,
) -> int:
    """Section of one swale that holds the storm with its largest.

    Sections hold more from each to the next: the smallest that does is looked for by halves.
    """
    count = choices.full_m3.shape[0]
    inflow = own_m3.sum() + arriving_m3.sum()
    close = _HOLDS * inflow
    time_s = arriving_m3.size * step_s / QUARTERS
    failing, choice = -1, count - 1
    while choice - failing > 1:
        k = (choice + failing) // 2
        # What cannot be held and soaked in all the time there is need not be routed.
        dry = max(1.0 - 1.0 / (choices.per_m2[k, i] * area_m2), 0.0) if area_m2 > 0.0 else 0.0
        beyond = inflow * dry > choices.full_m3[k, i] + choices.soaking_m3s[k, i, -1] * time_s
        if (
            beyond
            or _spilled(choices, k, i, own_m3, rain_m, area_m2, arriving_m3, step_s, close, out_m3)
            > close
        ):
            failing = k
        else:
            choice = k
    if not in_time[choice]:
        for j in range(count):
            k = by_emptying[j]
            if k == choice:
                break
            if (
                _spilled(choices, k, i, own_m3, rain_m, area_m2, arriving_m3, step_s, close, out_m3)
                <= close
            ):
                return int(k)
    return int(choice)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _size(
    choices: PoolArrays,
    chain: ChainArrays,
    places: IndexArray,
    own_m3: FloatArray,
    rain_m: FloatArray,
    area_m2: FloatArray,
    step_s: float,
    in_time: BoolArray,
    by_emptying: IndexArray,
    holds: BoolArray,
    arriving: FloatArray,
    choice: IndexArray,
) -> None:
    """Write the choice of some swales, the largest where it does not hold; see above."""
    quarters = arriving.shape[1]
    out = np.zeros(quarters)
    for place in places:
        i = chain.order[place]
        if holds[i]:
            choice[i] = _choose(
                choices,
                i,
                own_m3[i],
                rain_m,
                area_m2[i],
                arriving[place],
                step_s,
                in_time[:, i],
                by_emptying[:, i],
                out,
            )
            continue
        _spilled(
            choices,
            choice[i],
            i,
            own_m3[i],
            rain_m,
            area_m2[i],
            arriving[place],
            step_s,
            np.inf,
            out,
        )
        for k in range(chain.first[place], chain.first[place + 1]):
            to, whole = chain.to[k], chain.whole[k]
            for quarter in range(quarters - whole - 1):
                part = chain.share[k] * out[quarter]
                arriving[to, quarter + whole] += (1.0 - chain.later[k]) * part
                arriving[to, quarter + whole + 1] += chain.later[k] * part
