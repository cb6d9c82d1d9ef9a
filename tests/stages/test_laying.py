"""Water surfaces between the widths that are drawn."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from soakline.stages.laying import between_drawn


@pytest.mark.parametrize("drawn", [[2.0], [1.4, 2.2], [1.5, 2.4, 3.3]])
@given(share=st.lists(st.floats(0.0, 1.0), min_size=1, max_size=8), seed=st.integers(0, 99))
def test_each_swale_is_read_at_its_own_width_as_numpy_reads_one(
    drawn: list[float], share: list[float], seed: int
) -> None:
    """To the bit as numpy.interp, swale by swale."""
    widths = np.array(drawn)
    at = widths[0] + np.array(share) * (widths[-1] - widths[0])
    surface = np.random.default_rng(seed).random((at.size, widths.size)).cumsum(axis=1) * 300.0
    found = between_drawn(widths, surface, np.minimum(at, widths[-1]))
    each = [np.interp(own, widths, row) for own, row in zip(at, surface, strict=True)]
    assert found.tolist() == each
