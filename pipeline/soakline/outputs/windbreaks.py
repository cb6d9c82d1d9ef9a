"""Windbreaks in figures and in words."""

from collections.abc import Iterator

import numpy as np

from soakline.findings import Finding
from soakline.inputs.quantity_items import UNITS
from soakline.outputs.designed import Designed
from soakline.planting.windbreaks import IN_SHELTER, LEAST_MET
from soakline.works.bill import Entry

WINDBREAKS, SHELTERED = "windbreaks", "production swales in shelter"


def wind_entries(plan: Designed) -> list[Entry]:
    """How many swales are windbreaks, and how many others stand in shelter."""
    if plan.inputs.works.wind is None:
        return []
    own = plan.windbreaks
    counts = {WINDBREAKS: own.chosen, SHELTERED: own.in_shelter}
    return [Entry(item, UNITS[item], is_so.astype(float), item) for item, is_so in counts.items()]


def wind_findings(plan: Designed) -> Iterator[Finding]:
    """What was made of the table of wind; nothing where there is none."""
    rose, own = plan.inputs.works.wind, plan.windbreaks
    if rose is None or own.chosen.size == 0:
        return
    keys = plan.run.planting
    from_deg, _ = rose.prevailing()
    sectors = ", ".join(f"{degrees:g}°" for degrees in from_deg)
    where = f"prevailing wind from {sectors} (sectors at least as frequent as the mean one)"
    if not own.chosen.any():
        yield Finding(
            "no_windbreak",
            "note",
            "swales",
            "",
            f"no swale is made a windbreak: none on every {keys.windbreak_every}th level or near "
            f"a ridge meets {100 * LEAST_MET:.0f} % of the {where}, or there are too few levels",
            "where wind is felt, plant a windbreak of its own across it",
        )
        return
    production = np.count_nonzero(~own.chosen)
    low, high = np.nanmin(own.height_m), np.nanmax(own.height_m)
    tall = f"{low:g} m" if low == high else f"{low:g} to {high:g} m"
    yield Finding(
        "windbreaks_chosen",
        "note",
        "swales",
        "",
        f"{np.count_nonzero(own.chosen)} swales are windbreaks, by {where}; of the other "
        f"{production} swales {np.count_nonzero(own.in_shelter)} have {100 * IN_SHELTER:.0f} % of "
        f"it or more kept off, by trees {tall} high over {keys.shelter_heights:g} heights downwind "
        "and by higher land (a windbreak protects 10 heights, with some gain to 20 or 30: Purdue "
        "Extension; that every 6th to 10th swale serves is common practice, no source)",
        "about half open is better than dense, with no gap but at sills and tracks, where wind is "
        "faster; check tall trees against services, buildings, fire rules and neighbours",
    )
