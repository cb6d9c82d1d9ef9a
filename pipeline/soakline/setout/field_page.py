"""A page for the phone: every swale's pegs with their places, to be opened without a network."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from jinja2 import Environment, PackageLoader
from pyproj import Transformer

from soakline.grid import FloatArray
from soakline.outputs.scale_bar import round_below
from soakline.setout.plan import SetOutPlan
from soakline.setout.sheet_words import CAUTION, CAUTION_MORE

_DRAWN_PX = 320.0


@dataclass(frozen=True, slots=True)
class FieldPeg:
    """One peg as the page shows it."""

    peg_id: str
    kind: str
    chainage_m: float
    level_m: float
    cut_m: float
    latitude: float
    longitude: float
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class FieldSwale:
    """One swale as the page shows it: a sketch of its lip, north up, and its pegs.

    Parameters
    ----------
    swale_id, level_m, length_m, base_width_m, depth_m, base_level_m : as in the plan
    path : of the lip, as SVG
    width, height : of the sketch, px
    scale_m : length of the bar under it, m
    bar : its length, px
    pegs : in order
    """

    swale_id: str
    level_m: float
    length_m: float
    base_width_m: float
    depth_m: float
    base_level_m: float
    path: str
    width: float
    height: float
    scale_m: float
    bar: float
    pegs: tuple[FieldPeg, ...]


def write_field_page(plan: SetOutPlan, path: Path) -> None:
    """Write the page; it needs no network, no script and no picture from elsewhere.

    Places are WGS 84, to 1e-6 degrees, a tenth of a metre: to find a peg by, not to set it out. A
    phone's own receiver is metres off.
    """
    pages = Environment(
        loader=PackageLoader("soakline.setout"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    page = pages.get_template("field.html").render(
        name=plan.name,
        finished=plan.finished[:10],
        cautions=(CAUTION, CAUTION_MORE),
        benchmark=plan.benchmark,
        swales=tuple(_swales(plan)),
    )
    path.write_text(page, encoding="utf-8")


def _swales(plan: SetOutPlan) -> Iterator[FieldSwale]:
    pegs = plan.pegs
    to_degrees = Transformer.from_crs(plan.crs_wkt, "OGC:CRS84", always_xy=True)
    longitude, latitude = to_degrees.transform(pegs.easting, pegs.northing)
    owner = np.array(pegs.swale_id)
    for swale in plan.swales:
        own = np.flatnonzero(owner == swale.swale_id)
        low, high = swale.lip.min(axis=0), swale.lip.max(axis=0)
        extent = float(max(*(high - low), 1.0))
        per_m = (_DRAWN_PX - 20.0) / extent

        def drawn(places: FloatArray, low: FloatArray = low, high: FloatArray = high,
                  per_m: float = per_m) -> FloatArray:  # fmt: skip
            east, north = places.T
            return np.column_stack([10 + (east - low[0]) * per_m, 10 + (high[1] - north) * per_m])

        at = drawn(np.column_stack([pegs.easting[own], pegs.northing[own]]))
        corners = " L".join(f"{x:.1f},{y:.1f}" for x, y in drawn(swale.lip))
        scale_m = round_below(extent / 3.0)
        yield FieldSwale(
            swale_id=swale.swale_id,
            level_m=swale.level_m,
            length_m=swale.length_m,
            base_width_m=swale.trench.base_width_m,
            depth_m=swale.trench.depth_m,
            base_level_m=swale.base_level_m,
            path=f"M{corners}",
            width=_DRAWN_PX,
            height=20.0 + float(high[1] - low[1]) * per_m + 24.0,
            scale_m=scale_m,
            bar=scale_m * per_m,
            pegs=tuple(
                FieldPeg(
                    peg_id=pegs.peg_id[k],
                    kind=pegs.kind[k],
                    chainage_m=float(pegs.chainage_m[k]),
                    level_m=float(pegs.level_m[k]),
                    cut_m=float(pegs.cut_m[k]),
                    latitude=float(latitude[k]),
                    longitude=float(longitude[k]),
                    x=float(at[i, 0]),
                    y=float(at[i, 1]),
                )
                for i, k in enumerate(own.tolist())
            ),
        )
