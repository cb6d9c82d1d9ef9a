"""Broad-crested weirs: Chow 1959 section 3-8, Henderson 1966 section 6.6, Bos 1989."""

import numpy as np
import pytest

from soakline.overflow.weir import head_m, sill_length_m

LOSS_FREE = 1.705  # m^0.5/s


def test_loss_free_coefficient_is_critical_flow_over_the_crest() -> None:
    """Chow 1959 section 3-8: C = (2/3)^1.5 √g. D."""
    assert (2.0 / 3.0) ** 1.5 * np.sqrt(9.81) == pytest.approx(LOSS_FREE, abs=0.0005)


@pytest.mark.parametrize(
    ("over_sill_m", "flow_m2s"),
    [(0.05, 0.01906), (0.10, 0.05391), (0.15, 0.09905), (0.20, 0.15250), (0.30, 0.28016)],
)
def test_flow_per_metre_of_sill(over_sill_m: float, flow_m2s: float) -> None:
    """Q = C L H^1.5 with C 1.705 (Chow 1959, Henderson 1966, Bos 1989). D."""
    assert 1.0 / sill_length_m(1.0, over_sill_m, LOSS_FREE) == pytest.approx(flow_m2s, rel=0.001)


def test_length_for_a_flow() -> None:
    """0.10 m³/s at a head of 0.10 m. D."""
    assert sill_length_m(0.10, 0.10, LOSS_FREE) == pytest.approx(1.855, rel=0.001)


def test_head_for_a_flow() -> None:
    """0.10 m³/s over 10 m. D."""
    assert head_m(0.10, 10.0, LOSS_FREE) == pytest.approx(0.0325, rel=0.005)


def test_length_and_head_are_inverses() -> None:
    """Q = C L H^1.5 solved both ways. D."""
    peaks = np.array([0.01, 0.2, 1.5])
    lengths = sill_length_m(peaks, 0.08, 1.45)
    assert head_m(peaks, lengths, 1.45) == pytest.approx([0.08, 0.08, 0.08])


def test_no_spill_needs_no_sill_and_stands_at_no_head() -> None:
    """Q = 0. D."""
    assert sill_length_m(0.0, 0.1, 1.45) == 0.0
    assert head_m(0.0, 3.0, 1.45) == 0.0


@pytest.mark.parametrize("arguments", [(0.1, 0.0, 1.45), (0.1, 0.1, 0.0), (-0.1, 0.1, 1.45)])
def test_impossible_sills_are_refused(arguments: tuple[float, float, float]) -> None:
    """No head, no coefficient or a negative peak has no length and no head."""
    with pytest.raises(ValueError, match=r"positive|negative"):
        sill_length_m(*arguments)
    with pytest.raises(ValueError, match=r"positive|negative"):
        head_m(*arguments)
