"""Pools, hydrographs and an obvious slow twin of routing, for tests of level pools."""

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from soakline.grid import FloatArray
from soakline.water.network import Chain, Spill, chain_of
from soakline.water.pools import Pools, pools_of

STEP_S = 72.0
COEFFICIENT = 1.45


def pool(
    base_width_m: float = 1.5,
    depth_m: float = 0.5,
    batter: float = 1.5,
    length_m: float = 100.0,
    full_depth_m: float | None = None,
    ponded_m2: float | None = None,
    soak_m_h: float = 0.0,
    sill_m: float = 10.0,
    coefficient: float = COEFFICIENT,
) -> Pools:
    """One pool; its surface when full that of its section unless given."""
    top_m = base_width_m + 2.0 * batter * depth_m
    figures = (
        base_width_m,
        depth_m,
        batter,
        length_m,
        depth_m if full_depth_m is None else full_depth_m,
        top_m * length_m if ponded_m2 is None else ponded_m2,
        soak_m_h,
        sill_m,
    )
    return pools_of(*(np.array([one]) for one in figures), coefficient)


def random_pools(
    count: int, random: np.random.Generator, sill_m: FloatArray | None = None
) -> Pools:
    """Sections, lengths, soils and sills as a hill property may have."""
    base_width_m = random.uniform(0.5, 3.0, count)
    depth_m = random.uniform(0.3, 0.8, count)
    batter = random.choice([0.0, 1.0, 1.5, 2.0, 3.0], count)
    length_m = 2.0 * batter * depth_m + random.uniform(5.0, 300.0, count)
    return pools_of(
        base_width_m,
        depth_m,
        batter,
        length_m,
        depth_m - random.choice([0.0, 0.1], count),
        (base_width_m + 2.0 * batter * depth_m) * length_m * random.uniform(0.8, 1.2, count),
        10.0 ** random.uniform(-3.3, -0.7, count),
        random.uniform(0.5, 30.0, count) if sill_m is None else sill_m,
        COEFFICIENT,
    )


@dataclass(frozen=True, eq=False, slots=True)
class Cascade:
    """Pools, their chain, times under way and one storm's own inflow."""

    pools: Pools
    chain: Chain
    travel_s: FloatArray
    inflow_m3: FloatArray
    rain_s: float


def random_cascade(count: int, seed: int) -> Cascade:
    """Swales that spill to others or off the chain, over one to three sills; some stay dry."""
    random = np.random.default_rng(seed)
    pools = random_pools(count, random)
    names = random.permutation(count)  # numbers say nothing of who lies higher
    spills = []
    for i in range(count):
        length_m = random.uniform(1.0, 30.0, random.integers(1, 4))
        for share in length_m / length_m.sum():
            other = int(random.integers(i + 1, min(i + 8, count + 2)))
            to = int(names[other]) if other < count else -1
            spills.append(Spill(int(names[i]), to, float(share)))
    chain = chain_of(count, spills)
    within = sum(len(own) for own in chain.spills)
    rain_steps = int(random.integers(1, 40))
    steps = rain_steps + int(random.integers(0, 20))
    shape = random.gamma(0.5, 1.0, (count, steps)) * (random.random((count, steps)) < 0.6)
    volume_m3 = pools.full_m3 * random.choice([0.0, 0.3, 1.0, 5.0], count)
    inflow_m3 = shape / np.maximum(shape.sum(axis=1, keepdims=True), 1e-9) * volume_m3[:, None]
    travel_s = random.choice([0.0, 30.0, 72.0, 333.0, 1000.0], within)
    return Cascade(pools, chain, travel_s, inflow_m3, rain_steps * STEP_S)


def hydrograph_m3s(times_s: FloatArray, burst_s: float, concentration_s: float) -> FloatArray:
    """A burst of steady excess passed through a smooth response; the area under it is about 1."""
    to_peak_s = 0.6 * concentration_s
    apart_s = burst_s / 40.0
    starts_s = (np.arange(40) + 0.5) * apart_s
    after = np.maximum(times_s[:, None] - starts_s[None, :], 0.0) / to_peak_s
    response = (after * np.exp(1.0 - after)) ** 3.7
    return np.asarray(response.sum(axis=1) / (40.0 * 1.36 * to_peak_s))


def steady_by_step(rate_m3s: FloatArray) -> FloatArray:
    """Volumes of steps in which a rate, given at every 12 s, is held at its mean."""
    per_step = int(STEP_S / 12.0)
    kept = rate_m3s[..., : rate_m3s.shape[-1] // per_step * per_step]
    means = kept.reshape(*kept.shape[:-1], -1, per_step).mean(axis=-1)
    return np.asarray(means * STEP_S)


@dataclass(frozen=True, eq=False, slots=True)
class Reservoirs:
    """What the slow twin finds; all (pools,)."""

    peak_m3s: FloatArray
    overflow_m3: FloatArray
    infiltrated_m3: FloatArray
    stored_m3: FloatArray


def reservoirs_in_series(pools: Pools, inflow_m3: FloatArray, steps: int) -> Reservoirs:
    """Each pool spills all into the next at once: dV/dt = inflow − soaking − C L h^1.5, by scipy.

    Parameters
    ----------
    pools : Pools
    inflow_m3 : (pools, own steps) steady within each step of `STEP_S`
    steps : to integrate
    """
    count = pools.full_m3.size
    base_m2 = pools.trough.wetted_m2(np.zeros(count))

    def outflow_m3s(volume: FloatArray) -> FloatArray:
        head = np.maximum(volume - pools.full_m3, 0.0) / pools.ponded_m2
        return pools.coefficient * pools.sill_m * head**1.5

    def soaking_m3s(volume: FloatArray, inflow_m3s: FloatArray) -> FloatArray:
        height = pools.trough.height_m(np.clip(volume, 0.0, pools.full_m3))
        wet = pools.soak_m_s * pools.trough.wetted_m2(height)
        return np.where(volume > 0.0, wet, np.minimum(pools.soak_m_s * base_m2, inflow_m3s))

    state = np.zeros(3 * count)
    peak = np.zeros(count)
    for step in range(steps):
        own = inflow_m3[:, step] / STEP_S if step < inflow_m3.shape[1] else np.zeros(count)

        def change(_: float, now: FloatArray, own: FloatArray = own) -> FloatArray:
            out = outflow_m3s(now[:count])
            coming = own + np.concatenate([[0.0], out[:-1]])
            soaking = soaking_m3s(now[:count], coming)
            return np.concatenate([coming - soaking - out, out, soaking])

        found = solve_ivp(change, (0.0, STEP_S), state, method="LSODA", rtol=1e-8, atol=1e-8)
        state = found.y[:, -1]
        state[:count] = np.maximum(state[:count], 0.0)
        peak = np.maximum(peak, np.max([outflow_m3s(one[:count]) for one in found.y.T], axis=0))
    return Reservoirs(peak, state[count : 2 * count], state[2 * count :], state[:count])
