"""How wide and deep a drain is dug: a trapezoid of earth that carries its peak."""

from dataclasses import dataclass

import numpy as np

from soakline.section.trench import Trench

_DEEPEST_M = 20.0


@dataclass(frozen=True, slots=True)
class DrainSection:
    """Cross-section of a drain, and how its peak runs in it.

    Parameters
    ----------
    base_width_m, depth_m, batter : trapezoid, freeboard included; batter horizontal per 1 vertical
    flow_depth_m, velocity_ms : at the peak
    peak_m3s : that it was sized for
    permissible_ms : velocity that it may have; None where no figure holds and lining is needed
    """

    base_width_m: float
    depth_m: float
    batter: float
    flow_depth_m: float
    velocity_ms: float
    peak_m3s: float
    permissible_ms: float | None

    @property
    def top_width_m(self) -> float:
        return self.base_width_m + 2.0 * self.batter * self.depth_m

    @property
    def needs_lining(self) -> bool:
        """Faster at its widest than it may run, or steeper than any figure goes."""
        return self.permissible_ms is None or self.velocity_ms > self.permissible_ms + 1e-9


def channel_flow_m3s(
    base_width_m: float, batter: float, flow_depth_m: float, grade: float, manning_n: float
) -> float:
    """Steady uniform flow in a trapezoid.

    Parameters
    ----------
    base_width_m, batter, flow_depth_m : of the wetted section, m
    grade : along the flow, m/m
    manning_n : s/m^(1/3)

    Returns
    -------
    m³/s

    Notes
    -----
    Q = A R^(2/3) S^(1/2) / n with R = A / P, A = (b + m y) y, P = b + 2 y (1 + m²)^(1/2):
    [Chow1959]_ eq. 5-6 and Table 2-1.

    Examples
    --------
    >>> round(channel_flow_m3s(1.5, 2.0, 0.5, 0.005, 0.03), 2)
    1.42
    """
    area = Trench(base_width_m, flow_depth_m, batter).area_m2
    perimeter = base_width_m + 2.0 * flow_depth_m * np.hypot(1.0, batter)
    return float(area * (area / perimeter) ** (2.0 / 3.0) * np.sqrt(grade) / manning_n)


def _normal(
    peak_m3s: float, base_width_m: float, batter: float, grade: float, manning_n: float
) -> tuple[float, float]:
    """Depth, m, and velocity, m/s, at which a trapezoid carries a flow."""
    from scipy.optimize import brentq  # noqa: PLC0415 - slow to load, only drains need it

    depth = brentq(
        lambda y: channel_flow_m3s(base_width_m, batter, y, grade, manning_n) - peak_m3s,
        1e-9,
        _DEEPEST_M,
        xtol=1e-9,
    )
    return float(depth), peak_m3s / Trench(base_width_m, float(depth), batter).area_m2


def drain_section(
    peak_m3s: float,
    grade: float,
    permissible_ms: float | None,
    *,
    manning_n: float = 0.035,
    batter: float = 2.0,
    base_width_m: float = 0.3,
    widest_base_m: float = 3.0,
    deepest_flow_m: float = 0.5,
    freeboard_m: float = 0.1,
) -> DrainSection:
    """Size a drain for its peak.

    Parameters
    ----------
    peak_m3s : m³/s, not negative
    grade : along the drain, m/m, positive
    permissible_ms : velocity that the drain bears, m/s; None where the ground is steeper than the
        figures go
    manning_n : s/m^(1/3)
    batter : horizontal per 1 vertical, both sides
    base_width_m, widest_base_m : least and greatest base, m
    deepest_flow_m : a deeper flow widens the base, m
    freeboard_m : kept above the flow, m

    Returns
    -------
    DrainSection with the narrowest base in which the flow is neither too fast nor too deep; with
    the widest where none is wide enough (`needs_lining`, if it is too fast there)

    Raises
    ------
    ValueError
        If the peak is negative, or the grade, roughness or base not positive.

    Notes
    -----
    Normal depth by Manning. A wider base is shallower, and from the best hydraulic section on
    (base 0.47 of the depth at a batter of 2, [Chow1959]_ chapter 7) slower too; flows within
    `deepest_flow_m` are wider than that, so the narrowest base is found by halving. The freeboard
    of 0.1 m keeps [NRCS362]_, 0.3 ft or more.

    Examples
    --------
    >>> section = drain_section(0.05, 1 / 300, 0.9)
    >>> section.base_width_m, round(section.flow_depth_m, 2), round(section.velocity_ms, 2)
    (0.3, 0.19, 0.38)
    """
    if not (peak_m3s >= 0.0 and grade > 0.0 and manning_n > 0.0 and base_width_m > 0.0):
        raise ValueError("the peak must not be negative; grade, n and base must be positive")
    if peak_m3s == 0.0:
        return DrainSection(base_width_m, freeboard_m, batter, 0.0, 0.0, 0.0, permissible_ms)
    fastest = np.inf if permissible_ms is None else permissible_ms

    def holds(base_m: float) -> bool:
        depth, velocity = _normal(peak_m3s, base_m, batter, grade, manning_n)
        return depth <= deepest_flow_m and velocity <= fastest

    base = base_width_m
    if not holds(base):
        narrow, base = base, max(widest_base_m, base)
        if holds(base):
            while base - narrow > 1e-4:
                middle = 0.5 * (narrow + base)
                narrow, base = (narrow, middle) if holds(middle) else (middle, base)
    depth, velocity = _normal(peak_m3s, base, batter, grade, manning_n)
    return DrainSection(
        base, depth + freeboard_m, batter, depth, velocity, peak_m3s, permissible_ms
    )
