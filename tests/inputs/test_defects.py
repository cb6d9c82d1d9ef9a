"""Defects of a DEM: each is found where it is, and good ground is left in peace."""

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter, zoom

from soakline.grid import Grid
from soakline.inputs.defects import find_defects, sample_windows, step_of_heights, stripe_bias
from soakline.inputs.types import Elevation

ROWS, COLUMNS = 300, 320
SEED = 20_250_301


def found(heights_m: np.ndarray, cell_m: float = 1.0) -> dict[str, str]:
    """Codes of the defects found, with their messages."""
    grid = Grid(*heights_m.shape, 600_000.0, 6_100_000.0, cell_m, "")
    findings = find_defects(Elevation(grid, heights_m.astype(np.float32)))
    assert all(finding.severity == "caution" for finding in findings)
    return {finding.code: finding.message for finding in findings}


@pytest.fixture
def random() -> np.random.Generator:
    return np.random.default_rng(SEED)


def hill_m() -> np.ndarray:
    row, column = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float64)
    return 50 + 10 * np.sin(column / 60) + 8 * np.cos(row / 50) + 0.05 * column


def test_good_ground_has_no_defect(random: np.random.Generator) -> None:
    row, column = np.mgrid[0:ROWS, 0:COLUMNS].astype(np.float64)
    noise = random.normal(0, 0.05, row.shape)
    good = {
        "plane along the rows": 50 + 0.05 * row,
        "steep plane along the columns": 50 + 0.5 * column,
        "plane with survey noise": 50 + 0.05 * row + noise,
        "valley": 50 + 0.3 * np.abs(column - 160) + 0.02 * row,
        "cone": 100 - 0.2 * np.hypot(column - 160, row - 150),
        "hill to the centimetre": np.round(hill_m() + noise, 2),
        "rough pasture": hill_m() + 2.0 * gaussian_filter(random.normal(0, 1, row.shape), 2),
        "two ponds": np.maximum(hill_m(), 45.0),
    }
    assert {name: found(heights) for name, heights in good.items() if found(heights)} == {}


@pytest.mark.parametrize(
    ("step_m", "steepness"), [(1.0, 1.0), (1.0, 6.0), (0.3048, 1.0), (0.1, 0.2)]
)
def test_rounded_heights_are_told_with_their_step(step_m: float, steepness: float) -> None:
    heights = np.round(hill_m() * steepness / step_m) * step_m
    assert f"steps of {step_m:.3g} m" in found(heights)["stepped_heights"]


def test_whole_metres_interpolated_afterwards_are_still_steps() -> None:
    smooth = zoom(np.round(hill_m()[:150, :150]), 3, order=1)
    assert "steps of 1 m" in found(smooth)["stepped_heights"]


@pytest.mark.parametrize("direction", ["rows", "columns"])
def test_stripes_are_told_with_direction_and_size(
    random: np.random.Generator, direction: str
) -> None:
    if direction == "rows":
        offset = random.normal(0, 0.1, ROWS)[:, None]
    else:
        offset = random.normal(0, 0.1, COLUMNS)[None, :]
    heights = hill_m() + offset + random.normal(0, 0.05, (ROWS, COLUMNS))
    assert f"Whole {direction}" in found(heights)["striped_heights"]
    bias_m, _ = stripe_bias(sample_windows(heights.astype(np.float32)))
    assert bias_m == pytest.approx(0.1, rel=0.15)


def test_canopy_and_roofs_are_a_surface_model(random: np.random.Generator) -> None:
    trees = gaussian_filter(random.normal(0, 1, (ROWS, COLUMNS)), 1.5)
    trees = np.maximum(6.0 + 1.5 * trees / trees.std(), 0.0)
    wooded = np.zeros((ROWS, COLUMNS), bool)
    wooded[:, :100] = True
    message = found(np.where(wooded, hill_m() + trees, hill_m()))["surface_model"]
    share = float(message.split(": ")[1].split(" %")[0])
    assert share == pytest.approx(100 * 100 / 320, abs=6)


def test_missing_cells_hide_no_defect_and_make_none() -> None:
    heights = np.round(hill_m())
    heights[::9, ::7] = np.nan
    assert list(found(heights)) == ["stepped_heights"]
    smooth = hill_m()
    smooth[::9, ::7] = np.nan
    assert found(smooth) == {}


def test_a_dem_of_a_few_cells_is_no_trouble() -> None:
    assert found(np.arange(9.0).reshape(3, 3) ** 1.5) == {}
    assert step_of_heights([]) == (0.0, 0.0)
