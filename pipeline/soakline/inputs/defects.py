"""Faults of a DEM that make level lines wander: steps, stripes, canopy and roofs left in.

All three are judged on windows spread evenly over the grid, so that the time does not grow with the
property: a fault of a whole survey shows in any part of it.
"""

import math
from collections.abc import Sequence

import numpy as np

from soakline.findings import Finding
from soakline.grid import FloatArray, Grid, GroundArray
from soakline.inputs.types import Elevation

WINDOW = 256
WINDOWS_ACROSS = 6
LEAST_STEP_M = 0.05
"""Finer steps drown in what a level line is allowed anyway (a tolerance of 0.15 m)."""
FLAT_SHARE = 0.10
BENT_SHARE = 0.05
STRIPE_M = 0.02
STRIPE_RATIO = 3.0
ROUGHNESS_M = 0.5
ROUGH_SHARE = 0.02
COARSEST_ROUGHNESS_CELL_M = 3.0


def find_defects(elevation: Elevation) -> tuple[Finding, ...]:
    """Look for steps, stripes and a surface model.

    Parameters
    ----------
    elevation : the DEM on the working grid

    Returns
    -------
    Cautions `stepped_heights`, `striped_heights` and `surface_model`, each where it applies.
    """
    windows = sample_windows(elevation.dem_m)
    findings = []
    step_m, flat_share = step_of_heights(windows)
    if step_m > 0.0:
        findings.append(_stepped(step_m, flat_share))
    else:
        # Steps along the rows would pass for stripes, so stripes are looked for without them only.
        bias_m, direction = stripe_bias(windows)
        if bias_m > 0.0:
            findings.append(_striped(bias_m, direction))
    share = rough_share(windows, elevation.grid)
    if share >= ROUGH_SHARE:
        findings.append(_surface_model(share))
    return tuple(findings)


def sample_windows(dem_m: GroundArray) -> list[GroundArray]:
    """Cut windows evenly from the grid; those without enough valid cells are left out.

    Parameters
    ----------
    dem_m : (rows, columns), m

    Returns
    -------
    At most `WINDOWS_ACROSS` squared views of at most `WINDOW` cells square.
    """
    firsts = []
    for length in dem_m.shape:
        count = min(WINDOWS_ACROSS, math.ceil(length / WINDOW))
        last = max(length - WINDOW, 0)
        firsts.append(sorted({round(x) for x in np.linspace(0, last, count)}))
    windows = [dem_m[r : r + WINDOW, c : c + WINDOW] for r in firsts[0] for c in firsts[1]]
    return [w for w in windows if np.count_nonzero(np.isfinite(w)) >= 0.25 * w.size]


def step_of_heights(windows: Sequence[GroundArray]) -> tuple[float, float]:
    """Height of the steps that the heights are rounded to.

    Parameters
    ----------
    windows : (n, m) arrays, m, NaN where not valid

    Returns
    -------
    The step, m, 0 where there is none over `LEAST_STEP_M`; and the share of cells that are exactly
    level with their neighbours to the east, south and south-east.

    Notes
    -----
    Rounding shows in two ways: on gentle ground as treads (2 x 2 cells exactly level), on steep
    ground as heights that are multiples of one step although the ground bends between them. A
    plane that falls exactly along the rows has the multiples and neither treads nor bends, and
    water surfaces have treads but few heights: neither is a fault.
    """
    pairs = level = bends = triples = 0
    heights: list[GroundArray] = []
    treads: list[GroundArray] = []
    for window in windows:
        corner = window[:-1, :-1]
        flat = (corner == window[:-1, 1:]) & (corner == window[1:, :-1])
        flat &= corner == window[1:, 1:]
        pairs += int(np.count_nonzero(np.isfinite(corner)))
        level += int(np.count_nonzero(flat))
        bend = np.abs(window[:, :-2] - 2.0 * window[:, 1:-1] + window[:, 2:])
        triples += int(np.count_nonzero(np.isfinite(bend)))
        bends += int(np.count_nonzero(bend >= LEAST_STEP_M / 2))
        heights.append(window[np.isfinite(window)])
        treads.append(np.unique(corner[flat]))
    if not heights or pairs == 0:
        return 0.0, 0.0
    flat_share, bent_share = level / pairs, bends / max(triples, 1)
    if flat_share < FLAT_SHARE and bent_share < BENT_SHARE:
        return 0.0, flat_share
    step_m = _common_step_m(np.concatenate(heights))
    if step_m == 0.0 and flat_share >= FLAT_SHARE:
        step_m = _tread_step_m(np.unique(np.concatenate(treads)).astype(np.float64))
    return step_m, flat_share


def _common_step_m(heights_m: GroundArray) -> float:
    """The step of which all heights are multiples (from any start), m; 0 if there is none."""
    values, counts = np.unique(heights_m, return_counts=True)
    if len(values) < 4:
        return 0.0
    values = values.astype(np.float64)
    step_m = float(np.median(np.diff(values)))
    if step_m < LEAST_STEP_M:
        return 0.0
    steps = (values - values[counts.argmax()]) / step_m
    off = np.abs(steps - np.round(steps)) > 0.02
    return step_m if counts[off].sum() <= 0.01 * counts.sum() else 0.0


def _tread_step_m(treads_m: FloatArray) -> float:
    """Regular distance between level treads, m: whole metres that were interpolated afterwards."""
    if len(treads_m) < 5:
        return 0.0
    rises_m = np.diff(treads_m)
    step_m = float(np.median(rises_m))
    regular = np.abs(rises_m - step_m) <= 0.2 * step_m
    return step_m if step_m >= LEAST_STEP_M and regular.mean() >= 0.5 else 0.0


def stripe_bias(windows: Sequence[GroundArray]) -> tuple[float, str]:
    """Offset that whole rows or columns carry against their neighbours.

    Parameters
    ----------
    windows : (n, m) arrays, m

    Returns
    -------
    The rms offset, m, and `rows` or `columns`; 0 and an empty text where there are no stripes.

    Notes
    -----
    A row's offset is the median, along the row, of its height less the mean of the rows on both
    sides. Offsets of real ground are small and alike from row to row; stripes jump back and forth,
    so that offsets of neighbouring rows are of opposite sign, and they are far larger than what
    noise of single cells leaves in a median.
    """
    best = (0.0, "")
    for direction in ("rows", "columns"):
        squares = products = noise = 0.0
        count = 0
        for window in windows:
            across = window if direction == "rows" else window.T
            if min(across.shape) < 16 or not np.isfinite(across).all():
                continue
            residual = across[1:-1] - 0.5 * (across[:-2] + across[2:])
            bias = np.median(residual, axis=1)
            # Ground that bends the same way all over is no stripe.
            bias = (bias - np.median(bias)).astype(np.float64)
            spread = np.median(np.abs(residual - np.median(residual, axis=1)[:, None]))
            squares += float((bias**2).sum())
            products += float((bias[1:] * bias[:-1]).sum())
            noise += len(bias) * (1.4826 * float(spread) * 1.2533) ** 2 / across.shape[1]
            count += len(bias)
        if count == 0 or squares == 0.0:
            continue
        rms = math.sqrt(squares / count)
        jumps = products / squares <= -0.25
        # A row's own offset enters with 1, its neighbours' with a half each: variance 1.5.
        if jumps and rms >= STRIPE_M and rms >= STRIPE_RATIO * math.sqrt(noise / count):
            best = max(best, (rms / math.sqrt(1.5), direction))
    return best


def rough_share(windows: Sequence[GroundArray], grid: Grid) -> float:
    """Share of the land that is as rough at 2 to 10 m as canopy and roofs are.

    Parameters
    ----------
    windows : (n, m) arrays, m, NaN where not valid
    grid : of the DEM, for the cell size

    Returns
    -------
    Share, 0 to 1; 0 where cells are too coarse to tell.

    Notes
    -----
    Roughness is the rms, within 10 m, of the mean over 2 m less the mean over 10 m. Slope cancels
    in that difference, a gully or a bank leaves a few tenths of a metre along its own line, trees
    and roofs leave a metre or more over all they cover.
    """
    if grid.cell_m > COARSEST_ROUGHNESS_CELL_M:
        return 0.0
    from scipy.ndimage import uniform_filter  # noqa: PLC0415 - slow to load, no rerun needs it

    near = 2 * round(1.0 / grid.cell_m) + 1 if grid.cell_m < 1.0 else 1
    far = 2 * round(5.0 / grid.cell_m) + 1
    rough = known = 0
    for window in windows:
        if min(window.shape) < far:
            continue
        valid = np.isfinite(window)
        filled = np.where(valid, window, window[valid].mean(dtype=np.float64).astype(np.float32))
        filled = filled - filled.mean(dtype=np.float64).astype(np.float32)
        band = uniform_filter(filled, near, mode="nearest") if near > 1 else filled
        band = band - uniform_filter(filled, far, mode="nearest")
        if not valid.all():
            # Where a mean reaches over missing cells, or past the window, it means nothing.
            valid = uniform_filter(valid.astype(np.float32), far) > 0.999
            band = np.where(valid, band, np.float32(0.0))
        power = uniform_filter(band * band, far, mode="nearest")
        rim = far // 2
        inner = valid[rim:-rim, rim:-rim]
        known += int(np.count_nonzero(inner))
        rough += int(np.count_nonzero(inner & (power[rim:-rim, rim:-rim] >= ROUGHNESS_M**2)))
    return rough / known if known else 0.0


def _stepped(step_m: float, flat_share: float) -> Finding:
    return Finding(
        "stepped_heights",
        "caution",
        "elevation",
        "",
        f"Heights of the DEM come in steps of {step_m:.3g} m; {100 * flat_share:.0f} % of its "
        "cells are exactly level with their neighbours.",
        "Level lines wander on steps. Use a DEM whose heights are stored to the centimetre; check "
        "every line with an instrument before digging.",
    )


def _striped(bias_m: float, direction: str) -> Finding:
    return Finding(
        "striped_heights",
        "caution",
        "elevation",
        "",
        f"Whole {direction} of the DEM are offset from their neighbours, by {bias_m:.2f} m rms.",
        "Level lines follow stripes. Use a DEM without them, or check every line with an "
        "instrument before digging.",
    )


def _surface_model(share: float) -> Finding:
    return Finding(
        "surface_model",
        "caution",
        "elevation",
        "",
        f"The DEM looks like a surface model: {100 * share:.0f} % of the land is as rough at 2 to "
        f"10 m as tree tops and roofs are (over {ROUGHNESS_M:g} m rms).",
        "Level lines need bare ground: use the terrain model (ground returns only) of the same "
        "survey. Lines across such ground cannot be pegged.",
    )
