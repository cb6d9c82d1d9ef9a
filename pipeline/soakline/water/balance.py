"""Volumes of one storm down the chain, and the bound on its peaks."""

from dataclasses import dataclass

import numpy as np

from soakline.grid import FloatArray
from soakline.water.curve_number import runoff_mm
from soakline.water.network import Chain, passed_down
from soakline.water.storms import (
    Storm,
    excess_duration_h,
    largest_rain_rise_mm,
    largest_rise_mm,
)

RISE_STEP_S = 72.0


@dataclass(frozen=True, eq=False, slots=True)
class SwaleWater:
    """What the balance needs to know of each swale; all (swales,).

    Parameters
    ----------
    dry_m2 : catchment without the swale's own water surface
    ponded_m2 : water surface when full
    capacity_m3 : to the level
    soak_m3_h : through the base
    """

    dry_m2: FloatArray
    ponded_m2: FloatArray
    capacity_m3: FloatArray
    soak_m3_h: FloatArray


@dataclass(frozen=True, eq=False, slots=True)
class StormBalance:
    """What each storm does to each swale; all (swales, storms) but `excess_mm`.

    Parameters
    ----------
    excess_mm : (storms,) runoff depth from dry ground
    runoff_m3 : from the dry ground
    received_m3 : from swales above
    inflow_m3 : runoff, rain on the water and received
    stored_m3, infiltrated_m3, overflow_m3 : what became of it
    peak_bound_m3s : no swale above holds anything back, no lag
    """

    excess_mm: FloatArray
    runoff_m3: FloatArray
    received_m3: FloatArray
    inflow_m3: FloatArray
    stored_m3: FloatArray
    infiltrated_m3: FloatArray
    overflow_m3: FloatArray
    peak_bound_m3s: FloatArray


def balance_storms(
    storms: tuple[Storm, ...], water: SwaleWater, chain: Chain, curve_number: float
) -> StormBalance:
    """Volume balance of every storm, swale by swale from the top of the chain down.

    Parameters
    ----------
    storms : every storm
    water : SwaleWater
    chain : Chain
    curve_number : of the ground, antecedent condition included

    Returns
    -------
    StormBalance

    Notes
    -----
    soaked = min(inflow, rate × base × length × duration of excess); overflow = max(0, inflow −
    soaked − capacity); the rest is stored. Only the base soaks.
    """
    depth = np.array([storm.depth_mm for storm in storms])
    excess = runoff_mm(depth, curve_number)
    hours = np.array([excess_duration_h(storm, curve_number) for storm in storms])
    runoff = water.dry_m2[:, None] * excess[None, :] / 1000.0
    inflow = runoff + water.ponded_m2[:, None] * depth[None, :] / 1000.0
    received = np.zeros_like(runoff)
    soaked = np.zeros_like(runoff)
    overflow = np.zeros_like(runoff)
    for i in chain.order:
        inflow[i] += received[i]
        soaked[i] = np.minimum(inflow[i], water.soak_m3_h[i] * hours)
        overflow[i] = np.maximum(0.0, inflow[i] - soaked[i] - water.capacity_m3[i])
        for spill in chain.spills[i]:
            received[spill.to_swale] += spill.share * overflow[i]
    return StormBalance(
        excess_mm=excess,
        runoff_m3=runoff,
        received_m3=received,
        inflow_m3=inflow,
        stored_m3=inflow - soaked - overflow,
        infiltrated_m3=soaked,
        overflow_m3=overflow,
        peak_bound_m3s=peak_bound_m3s(storms, water, chain, curve_number),
    )


def peak_rates_m_s(storms: tuple[Storm, ...], curve_number: float) -> tuple[FloatArray, FloatArray]:
    """Fastest rise of rainfall excess and of rain over 72 s, for each storm, m/s."""
    dry = np.array([largest_rise_mm(s, curve_number, RISE_STEP_S) for s in storms])
    wet = np.array([largest_rain_rise_mm(s, RISE_STEP_S) for s in storms])
    return dry / 1000.0 / RISE_STEP_S, wet / 1000.0 / RISE_STEP_S


def peak_bound_m3s(
    storms: tuple[Storm, ...], water: SwaleWater, chain: Chain, curve_number: float
) -> FloatArray:
    """Most that each swale can spill at any moment of each storm.

    Returns
    -------
    (swales, storms) m³/s: the largest rise of rainfall excess over 72 s on the swale's own dry
    catchment and all that can spill into it, and all the rain on the water surfaces among them
    """
    dry_rate, wet_rate = peak_rates_m_s(storms, curve_number)
    own = water.dry_m2[:, None] * dry_rate + water.ponded_m2[:, None] * wet_rate
    return passed_down(chain, own)


def full_to_empty_h(water: SwaleWater) -> FloatArray:
    """Time from full to empty through the base, with no inflow.

    Parameters
    ----------
    water : SwaleWater

    Returns
    -------
    (swales,) h; capacity over rate × base × length. For upright sides and ends this is depth over
    rate
    """
    return water.capacity_m3 / water.soak_m3_h
