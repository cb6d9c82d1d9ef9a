"""The map on paper, and where no script runs: one picture with legend and scale bar."""

import base64
import io
from collections.abc import Mapping

import matplotlib.style
import pandas as pd

from soakline.outputs.picture import A4, map_figure
from soakline.report.ground import Ground

_DPI = 200
_JPEG = {"quality": 78, "optimize": True, "progressive": True}


def paper_map(layers: Mapping[str, pd.DataFrame], ground: Ground, title: str) -> str:
    """Draw the map; as a `data:` address of a JPEG."""
    with matplotlib.style.context("default", after_reset=True):
        figure = map_figure(ground.grid, ground.ground_m, layers, title, A4)
        picture = io.BytesIO()
        figure.savefig(picture, format="jpg", dpi=_DPI, pil_kwargs=_JPEG)
    return "data:image/jpeg;base64," + base64.b64encode(picture.getvalue()).decode()
