"""Steep ground in patches large enough to slip."""

import numpy as np
import pytest
from scipy import ndimage

from soakline.siting import hazards
from soakline.siting.hazards import steep_patches


@pytest.mark.parametrize("band_cells", [1, 1_000_000])
def test_patches_over_500_m2_count_and_smaller_ones_do_not(
    band_cells: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A patch at a time, however many bands the grid is looked at in."""
    monkeypatch.setattr(hazards, "_BAND_CELLS", band_cells)
    random = np.random.default_rng(2)
    slope = 20.0 + 30.0 * ndimage.gaussian_filter(random.normal(0.0, 1.0, (240, 90)), 3.0)
    slope = slope.astype(np.float32)
    slope[100:103] = np.nan
    label, count = ndimage.label(slope >= 20.0)
    assert count > 20
    expected = np.zeros(slope.shape, dtype=bool)
    for patch in range(1, count + 1):
        own = label == patch
        expected |= own & (own.sum() * 4.0 > 500.0)
    assert expected.any()
    assert (steep_patches(slope, 4.0) == expected).all()
