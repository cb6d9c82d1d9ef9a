"""The event: every storm over every class of ground, and what reaches each swale of it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from soakline.grid import FloatArray
from soakline.water.hydrographs import (
    arriving_m3,
    edges_min,
    excess_steps_mm,
    ponded_rain_m3,
    step_s,
)
from soakline.water.land import Land, dry_area_m2
from soakline.water.losses import Loss, excess_mm, largest_rises_mm
from soakline.water.network import Chain, passed_down
from soakline.water.storms import RISE_STEP_S, Purpose, Storm, largest_rain_rise_mm
from soakline.water.time_of_concentration import LEAST_H
from soakline.water.unit_hydrograph import Shape, UnitHydrographs, unit_hydrographs


@dataclass(frozen=True, eq=False, slots=True)
class Event:
    """Storms and the ground that they fall on.

    Parameters
    ----------
    storms : every storm
    land : Land
    losses : of each class of the land
    shape : of the unit hydrograph
    excess_mm : (classes, storms) shed by each class in all
    rise_m_s : (classes, storms) fastest rise of excess over 72 s
    rain_rise_m_s : (storms,) that of the rain itself
    """

    storms: tuple[Storm, ...]
    land: Land
    losses: tuple[Loss, ...]
    shape: Shape
    excess_mm: FloatArray
    rise_m_s: FloatArray
    rain_rise_m_s: FloatArray

    def of(self, purpose: Purpose) -> list[int]:
        """Indices of the storms of a purpose."""
        return [i for i, storm in enumerate(self.storms) if storm.purpose == purpose]


def event_of(storms: tuple[Storm, ...], land: Land, losses: Sequence[Loss], shape: Shape) -> Event:
    """What every storm sheds on every class of ground.

    Parameters
    ----------
    storms : every storm
    land : Land
    losses : of each of its classes
    shape : of the unit hydrograph

    Returns
    -------
    Event
    """
    classes = len(losses)
    rises = [largest_rises_mm(storm, losses, RISE_STEP_S) for storm in storms]
    shed = [excess_mm(storm, losses, [storm.duration_min])[:, 0] for storm in storms]
    rain = np.array([largest_rain_rise_mm(storm, RISE_STEP_S) for storm in storms])
    return Event(
        storms,
        land,
        tuple(losses),
        shape,
        np.array(shed).T.reshape(classes, len(storms)),
        np.array(rises).T.reshape(classes, len(storms)) / 1000.0 / RISE_STEP_S,
        rain / 1000.0 / RISE_STEP_S,
    )


@dataclass(frozen=True, eq=False, slots=True)
class Feeds:
    """What feeds each swale.

    Parameters
    ----------
    area_m2 : (swales, classes) catchment by class of ground, its own water included
    ponded_m2 : (swales,) its own water when full
    dry_m2 : (swales, classes) the rest
    """

    area_m2: FloatArray
    ponded_m2: FloatArray
    dry_m2: FloatArray


def feeds_of(area_m2: FloatArray, ponded_m2: FloatArray, land: Land) -> Feeds:
    """Catchments with and without the swales' own water."""
    return Feeds(area_m2, ponded_m2, dry_area_m2(area_m2, ponded_m2, land))


@dataclass(frozen=True, eq=False, slots=True)
class Arrivals:
    """How what is shed arrives: the same for every way of draining and sizing the swales.

    Parameters
    ----------
    event : Event
    step_s : s
    unit : of each swale
    shed_mm : for each storm (classes, steps)
    """

    event: Event
    step_s: float
    unit: UnitHydrographs
    shed_mm: tuple[FloatArray, ...]

    def rain_s(self, storm: int) -> float:
        """From the start to the end of a storm's rain, s."""
        return 60.0 * self.event.storms[storm].duration_min

    def rain_m(self, storm: int) -> FloatArray:
        """Rain in each step of a storm, (steps,) m."""
        edges = edges_min(self.event.storms[storm].duration_min, self.step_s)
        return np.diff(self.event.storms[storm].cumulative_depth_mm(edges)) / 1000.0

    def inflow_m3(self, storm: int, feeds: Feeds) -> FloatArray:
        """Own inflow of every swale in each step of a storm, rain on its water included, m³.

        Parameters
        ----------
        storm : index
        feeds : Feeds

        Returns
        -------
        (swales, steps)
        """
        own = arriving_m3(self.shed_mm[storm], feeds.dry_m2, self.unit)
        own += ponded_rain_m3(self.event.storms[storm], feeds.ponded_m2, self.step_s, own.shape[1])
        return own


def arrivals_of(event: Event, tc_h: FloatArray) -> Arrivals:
    """Unit hydrographs and what each storm sheds step by step.

    Parameters
    ----------
    event : Event
    tc_h : (swales,) times of concentration, h
    """
    step = step_s(tc_h)
    return Arrivals(
        event,
        step,
        unit_hydrographs(tc_h, step, event.shape),
        tuple(excess_steps_mm(storm, event.losses, step) for storm in event.storms),
    )


def fastest_peak_m3s(event: Event, area_m2: FloatArray) -> FloatArray:
    """Greatest flow of grounds in the check storms, taken to arrive as fast as water ever does.

    Parameters
    ----------
    event : Event
    area_m2 : (grounds, classes)

    Returns
    -------
    (grounds,) m³/s at the least time of concentration, 6 minutes
    """
    # All have the same unit hydrograph: it is passed through by a square metre of each class.
    classes = len(event.losses)
    arrivals = arrivals_of(event, np.full(classes, LEAST_H))
    feeds = feeds_of(np.eye(classes), np.zeros(classes), event.land)
    flows = [(area_m2 @ arrivals.inflow_m3(k, feeds)).max(axis=1) for k in event.of("check")]
    return np.asarray(np.max(flows, axis=0)) / arrivals.step_s


def own_bound_m3s(event: Event, feeds: Feeds) -> FloatArray:
    """Most that each swale's own catchment can bring at any moment of each storm.

    Returns
    -------
    (swales, storms) m³/s: the largest rise of rainfall excess over 72 s on its dry ground, and all
    the rain on its water
    """
    return feeds.dry_m2 @ event.rise_m_s + feeds.ponded_m2[:, None] * event.rain_rise_m_s


def peak_bound_m3s(event: Event, feeds: Feeds, chain: Chain) -> FloatArray:
    """Most that each swale can spill at any moment of each storm: all above it added, no storage.

    Returns
    -------
    (swales, storms) m³/s; no routed peak is over it
    """
    return passed_down(chain, own_bound_m3s(event, feeds))
