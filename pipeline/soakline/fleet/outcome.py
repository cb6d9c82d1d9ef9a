"""What became of one property: plain values that travel between processes and into a file."""

from dataclasses import asdict, dataclass
from typing import Any, Literal

Status = Literal["planned", "stop", "refused", "failed"]


@dataclass(frozen=True, slots=True)
class Figures:
    """A plan in a few figures.

    Parameters
    ----------
    name : of the property
    area_m2 : of the property
    swales : number
    length_m, capacity_m3, cut_m3 : sums over the swales
    stops, cautions, notes : findings
    boundary_wkb : MultiPolygon in longitude and latitude (WGS 84), hexadecimal WKB
    """

    name: str
    area_m2: float
    swales: int
    length_m: float
    capacity_m3: float
    cut_m3: float
    stops: int
    cautions: int
    notes: int
    boundary_wkb: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one property.

    Parameters
    ----------
    status : `planned` (nothing at stop), `stop`, `refused` (its input) or `failed`
    seconds : of the attempt that ended it
    message : why there is no plan; empty where there is one
    figures : of the plan; None without one
    kept : the plan is of an earlier run, whose inputs and code are the same
    may_pass : another attempt may go better
    trace : traceback of a defect, for the log
    made_from : digest of all that the plan was made from; empty without one
    plan_sha256 : of the plan's file
    """

    status: Status
    seconds: float
    message: str = ""
    figures: Figures | None = None
    kept: bool = False
    may_pass: bool = False
    trace: str = ""
    made_from: str = ""
    plan_sha256: str = ""

    @property
    def is_planned(self) -> bool:
        """Whether a plan stands, at stop or not."""
        return self.status in ("planned", "stop")

    def as_dict(self) -> dict[str, Any]:
        """Plain values by name."""
        return asdict(self)


def outcome_of(values: dict[str, Any]) -> Outcome:
    """The outcome that `as_dict` was made of.

    Raises
    ------
    TypeError, ValueError
        If the values are of something else.
    """
    figures = values.get("figures")
    return Outcome(**{**values, "figures": None if figures is None else Figures(**figures)})
