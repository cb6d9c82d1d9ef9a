"""What the plan tells its reader about itself: notes, cautions and stops."""

from dataclasses import dataclass
from typing import Literal

Severity = Literal["note", "caution", "stop"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One row of the `findings` table.

    Parameters
    ----------
    code : short, stable, lower case with underscores
    severity : `note`, `caution` or `stop`
    layer : the layer that the feature is in; empty where the whole plan is meant
    feature_id : the feature's id; empty where the whole layer or plan is meant
    message : what was found, with figures and units
    advice : what to do about it; defers to local codes and licensed practice where safety is
        concerned
    """

    code: str
    severity: Severity
    layer: str
    feature_id: str
    message: str
    advice: str = ""
