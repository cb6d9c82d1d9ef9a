"""A swale as a level pool: what it holds, what it wets, how long it takes to soak away.

Heights of water count up from the base. The ends are battered like the sides: at height y the water
is b + 2 m y wide and B + 2 m y long, where b is the width of the base, B its length, m the batter.
"""

from dataclasses import dataclass

import numba
import numpy as np

from soakline.grid import FloatArray
from soakline.inputs.types import IndexArray

# Nodes of the wetted area stand at volumes that rise with the square of their number: close
# together where the water is low and the area changes fast, and found with one square root.
NODES = 65
_NEWTON_STEPS = 8
_HALVINGS = 30
_NONE = 1e-100  # in place of an area that is 0, where nothing is divided by it
# Between 0 and 1: so many places reckon the emptying of a base 5 cm wide to 1e-9.
_PLACES, _WEIGHTS = np.polynomial.legendre.leggauss(32)
_PLACES, _WEIGHTS = (1.0 + _PLACES) / 2.0, _WEIGHTS / 2.0


@dataclass(frozen=True, eq=False, slots=True)
class Trough:
    """Bases and batters of several swales; all (swales,), or (swales, 1).

    Parameters
    ----------
    base_width_m, base_length_m : m
    batter : horizontal per 1 vertical, sides and ends
    """

    base_width_m: FloatArray
    base_length_m: FloatArray
    batter: FloatArray

    def column(self) -> "Trough":
        """The same as (swales, 1), to go with several heights of each swale."""
        return Trough(self.base_width_m[:, None], self.base_length_m[:, None], self.batter[:, None])

    def take(self, index: IndexArray) -> "Trough":
        """The troughs that an index names."""
        return Trough(self.base_width_m[index], self.base_length_m[index], self.batter[index])

    def held_m3(self, height_m: FloatArray) -> FloatArray:
        """Volume below a height: b B y + m (b + B) y² + 4/3 m² y³."""
        b, long, m = self.base_width_m, self.base_length_m, self.batter
        return height_m * (b * long + height_m * (m * (b + long) + height_m * 4.0 / 3.0 * m * m))

    def surface_m2(self, height_m: FloatArray) -> FloatArray:
        """Water surface at a height: (b + 2 m y) (B + 2 m y)."""
        spread = 2.0 * self.batter * height_m
        return (self.base_width_m + spread) * (self.base_length_m + spread)

    def wetted_m2(self, height_m: FloatArray) -> FloatArray:
        """Wetted ground: base, sides and ends up to a height, along the slope.

        Each side is a trapezoid √(1 + m²) y up the slope and B + m y long on average, each end as
        far up and b + m y wide: b B + 2 √(1 + m²) y (b + B + 2 m y) together.
        """
        b, long, m = self.base_width_m, self.base_length_m, self.batter
        slant = 2.0 * np.sqrt(1.0 + m * m) * height_m
        return b * long + slant * (b + long + 2.0 * m * height_m)

    def height_m(self, volume_m3: FloatArray) -> FloatArray:
        """Height of the water that has a volume.

        Newton from above: the volume is convex in the height, so no step goes too far. Each term
        of the volume alone gives a height that is too great; the least of them is never far off.
        """
        volume, *figures = np.broadcast_arrays(
            volume_m3, self.base_width_m, self.base_length_m, self.batter
        )
        # Copies: of no swales a view would do, but compiled code may not be handed these views.
        return _heights_m(volume.flatten(), *(own.flatten() for own in figures)).reshape(
            volume.shape
        )


@numba.njit(cache=True, nogil=True, error_model="numpy")
def height_of_m(volume_m3: float, width_m: float, length_m: float, batter: float) -> float:
    """As `Trough.height_m`, of one swale, for compiled loops."""
    b, long, m = width_m, length_m, batter
    height: float = min(
        volume_m3 / max(b * long, _NONE), np.sqrt(volume_m3 / max(m * (b + long), _NONE))
    )
    for _ in range(_NEWTON_STEPS):
        held = height * (b * long + height * (m * (b + long) + height * 4.0 / 3.0 * m * m))
        spread = 2.0 * m * height
        step = (held - volume_m3) / max((b + spread) * (long + spread), _NONE)
        height -= step
        if step <= 1e-16 * height:
            break
    return max(height, 0.0)


@numba.njit(cache=True, nogil=True, error_model="numpy")
def _heights_m(
    volume_m3: FloatArray, width_m: FloatArray, length_m: FloatArray, batter: FloatArray
) -> FloatArray:
    """As `Trough.height_m`, all (n,)."""
    heights = np.zeros(volume_m3.size)
    for i in range(volume_m3.size):
        heights[i] = height_of_m(volume_m3[i], width_m[i], length_m[i], batter[i])
    return heights


@dataclass(frozen=True, eq=False, slots=True)
class Pools:
    """Every swale's water; all (swales,) but `wetted_m2` and `coefficient`.

    Parameters
    ----------
    trough : below the sill
    full_depth_m : of the water when it reaches the sill, above the base, m
    full_m3 : held then
    ponded_m2 : water surface then, and at any height over the sill
    soak_m_s : soaking rate of the wetted ground, clogging included, m/s
    sill_m : length of all sills together, m
    coefficient : of the weir, m^0.5/s
    wetted_m2 : (swales, nodes) wetted ground when full_m3 × (node / (nodes − 1))² is held
    """

    trough: Trough
    full_depth_m: FloatArray
    full_m3: FloatArray
    ponded_m2: FloatArray
    soak_m_s: FloatArray
    sill_m: FloatArray
    coefficient: float
    wetted_m2: FloatArray

    def take(self, swales: IndexArray) -> "Pools":
        """The pools that an index names."""
        return Pools(
            self.trough.take(swales),
            self.full_depth_m[swales],
            self.full_m3[swales],
            self.ponded_m2[swales],
            self.soak_m_s[swales],
            self.sill_m[swales],
            self.coefficient,
            self.wetted_m2[swales],
        )


def pools_of(
    base_width_m: FloatArray,
    depth_m: FloatArray,
    batter: FloatArray,
    length_m: FloatArray,
    full_depth_m: FloatArray,
    ponded_m2: FloatArray,
    soak_m_h: FloatArray,
    sill_m: FloatArray,
    coefficient: float,
) -> Pools:
    """Pools of sections that may differ from swale to swale.

    Parameters
    ----------
    base_width_m, depth_m, batter : (swales,) the section below the level
    length_m : (swales,) of the lip: the length of the water that stands at the level, m
    full_depth_m : (swales,) of the water at the sill; under `depth_m` where the sill is cut lower
        than the lip
    ponded_m2 : (swales,) water surface when full
    soak_m_h : (swales,) soaking rate, clogging and amendment included, m/h
    sill_m : (swales,) length of all sills together; where it is 0, the whole lip is the weir
    coefficient : of the weir, m^0.5/s

    Returns
    -------
    Pools

    Raises
    ------
    ValueError
        If the ends' batters meet above the base, if base width, depth of full water, water surface,
        weir or coefficient are not positive, or if batter, soaking rate or sill are negative.
    """
    trough = Trough(base_width_m, length_m - 2.0 * batter * depth_m, batter)
    sill = np.where(sill_m == 0.0, length_m, sill_m)
    for name, values in (
        ("width of the base", base_width_m),
        ("depth of full water", full_depth_m),
        ("water surface", ponded_m2),
        ("length of the sill", sill),
        ("weir coefficient", np.array([coefficient])),
    ):
        if not np.all(values > 0.0):
            raise ValueError(f"{name} must be positive")
    for name, values in (
        ("length of the base, between the ends' batters,", trough.base_length_m),
        ("batter", batter),
        ("soaking rate", soak_m_h),
    ):
        if not np.all(values >= 0.0):
            raise ValueError(f"{name} must not be negative")
    full_m3 = trough.held_m3(full_depth_m)
    return Pools(
        trough=trough,
        full_depth_m=full_depth_m,
        full_m3=full_m3,
        ponded_m2=ponded_m2,
        soak_m_s=soak_m_h / 3600.0,
        sill_m=sill,
        coefficient=coefficient,
        wetted_m2=trough.column().wetted_m2(_node_heights_m(trough, full_m3)),
    )


def _node_heights_m(trough: Trough, full_m3: FloatArray) -> FloatArray:
    """Height of the water at every node, (swales, nodes) m."""
    nodes_m3 = full_m3[:, None] * (np.arange(NODES) / (NODES - 1.0)) ** 2
    return trough.column().height_m(nodes_m3)


def surface_at_nodes(pools: Pools) -> FloatArray:
    """Water surface at every node, as `wetted_m2` has the wetted ground; (swales, nodes) m²."""
    return pools.trough.column().surface_m2(_node_heights_m(pools.trough, pools.full_m3))


def depth_m(pools: Pools, volume_m3: FloatArray) -> FloatArray:
    """Depth of water above the base at which each swale holds a volume.

    Parameters
    ----------
    pools : Pools
    volume_m3 : (swales,) or (steps, swales), not negative

    Returns
    -------
    as `volume_m3`, m; above the sill the water surface stays as wide as when full
    """
    below = pools.trough.height_m(np.minimum(volume_m3, pools.full_m3))
    return below + np.maximum(volume_m3 - pools.full_m3, 0.0) / pools.ponded_m2


def emptying_h(pools: Pools, volume_m3: FloatArray) -> FloatArray:
    """Time in which each swale's water soaks away, nothing coming and nothing spilling.

    Parameters
    ----------
    pools : Pools
    volume_m3 : (swales,) not negative

    Returns
    -------
    (swales,) h; infinite where ground that does not soak holds water

    Notes
    -----
    The water falls by rate × wetted ground / water surface, so t = ∫ surface / (rate × wetted) dy
    from the base to its height. For upright sides and ends (m = 0) this is
    b B / (2 rate (b + B)) × ln(1 + 2 (b + B) y / (b B)).
    """
    height = pools.trough.height_m(np.minimum(volume_m3, pools.full_m3))
    each = pools.trough.column()
    at = height[:, None] * _PLACES
    wetted = np.maximum(each.wetted_m2(at), _NONE)
    soaked_m = height * (each.surface_m2(at) / wetted * _WEIGHTS).sum(axis=1)
    soaked_m += np.maximum(volume_m3 - pools.full_m3, 0.0) / pools.wetted_m2[:, -1]
    hours = np.where(soaked_m > 0.0, np.inf, 0.0)
    soaks = pools.soak_m_s > 0.0
    hours[soaks] = soaked_m[soaks] / (3600.0 * pools.soak_m_s[soaks])
    return hours


def full_to_empty_h(pools: Pools) -> FloatArray:
    """Time from full to empty with no inflow, (swales,) h; infinite where nothing soaks."""
    return emptying_h(pools, pools.full_m3)


def depth_emptied_m(pools: Pools, hours: float) -> FloatArray:
    """Depth of water that soaks away within a time, (swales,) m; at most that of full water."""
    low, high = np.zeros_like(pools.full_depth_m), pools.full_depth_m.copy()
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        in_time = emptying_h(pools, pools.trough.held_m3(middle)) <= hours
        low, high = np.where(in_time, middle, low), np.where(in_time, high, middle)
    return low
