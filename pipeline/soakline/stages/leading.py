"""Diversion drains sized for the peaks that they lead to the swales."""

import numpy as np

from soakline.diversions.drains import drain_section
from soakline.outputs.designed import DugDiversions
from soakline.overflow.velocity import permissible_ms
from soakline.runfile.sections import RunFile
from soakline.stages.laying import Laid
from soakline.water.event import Event, fastest_peak_m3s

_LEAST_GRADE = 1e-4


def dug_diversions(laid: Laid, event: Event, run: RunFile) -> DugDiversions:
    """Section of each drain for its peak in the check storms.

    Parameters
    ----------
    laid : Laid
    event : Event
    run : the run file

    Returns
    -------
    DugDiversions

    Notes
    -----
    Water is taken to reach a drain as fast as it ever does, in 6 minutes.
    """
    drains, area = laid.drains, laid.drain_area_m2
    if not drains:
        return DugDiversions((), (), np.zeros(0))
    sections = []
    for drain, flow in zip(drains, fastest_peak_m3s(event, area), strict=True):
        grade = max(drain.grade, _LEAST_GRADE)
        held = permissible_ms(run.overflow.cover, run.overflow.soil, 100.0 * grade)
        sections.append(drain_section(float(flow), grade, held, manning_n=run.overflow.manning_n))
    return DugDiversions(drains, tuple(sections), area.sum(axis=1))
