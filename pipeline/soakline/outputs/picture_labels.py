"""Where a map's labels stand: along their lines, clear of each other."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from soakline.grid import FloatArray

# Along the line, the middle first.
_TRIED_AT = (0.5, 0.36, 0.64, 0.22, 0.78)

# Mean advance of a digit or small letter of the picture's typeface, and its height, in ems.
_ADVANCE_EM = 0.64
_HEIGHT_EM = 1.0


@dataclass(frozen=True, slots=True)
class Label:
    """A text to write, centred on a place and turned anticlockwise."""

    text: str
    easting: float
    northing: float
    angle_deg: float


def place_labels(
    texts: Sequence[str],
    lines: Sequence[shapely.LineString],
    em_m: float,
    obstacles: FloatArray,
    most: int,
    apart_em: float = 0.2,
) -> list[Label]:
    """Label lines at their middle or elsewhere along them, the longest first.

    A label that finds no free place is left out, and so are all beyond `most`: a crowded plan is
    labelled here and there.

    Parameters
    ----------
    texts, lines : one text a line; an empty line has no label
    em_m : height of the type on the ground, m
    obstacles : (n, 2) eastings and northings that no label may cover
    most : most labels wanted
    apart_em : free space kept around each, in heights of the type

    Returns
    -------
    Labels in the order of the lines
    """
    occupied = [shapely.Point(place).buffer(0.7 * em_m) for place in obstacles]
    placed: dict[int, Label] = {}
    by_length = np.argsort([-line.length for line in lines], kind="stable")
    for index in by_length[: 4 * most]:
        if lines[index].is_empty:
            continue
        width_m = _ADVANCE_EM * em_m * len(texts[index])
        for share in _TRIED_AT:
            label = _along(texts[index], lines[index], share, em_m, width_m)
            box = _box(label, em_m, width_m)
            if not shapely.intersects(occupied, box).any():
                placed[int(index)] = label
                occupied.append(box.buffer(apart_em * em_m))
                break
        if len(placed) == most:
            break
    return [placed[index] for index in sorted(placed)]


def _along(text: str, line: shapely.LineString, share: float, em_m: float, width_m: float) -> Label:
    """A label that follows the line's run under it, upright, beside the line."""
    reach = min(width_m / 2 / max(line.length, 1e-9), 0.2)
    start = line.interpolate(share - reach, normalized=True)
    end = line.interpolate(share + reach, normalized=True)
    middle = line.interpolate(share, normalized=True)
    angle = np.arctan2(end.y - start.y, end.x - start.x)
    if np.cos(angle) < 0:  # would stand on its head
        angle += np.pi
    angle_deg = float((np.degrees(angle) + 180) % 360 - 180)
    # Above the line as one reads it: a label on the line would hide what it names.
    beside = 0.85 * em_m
    easting = middle.x - np.sin(angle) * beside
    northing = middle.y + np.cos(angle) * beside
    return Label(text, float(easting), float(northing), angle_deg)


def _box(label: Label, em_m: float, width_m: float) -> shapely.Polygon:
    half_width, half_height = width_m / 2 + 0.2 * em_m, _HEIGHT_EM * em_m / 2
    box = shapely.box(-half_width, -half_height, half_width, half_height)
    turned = shapely.affinity.rotate(box, label.angle_deg, origin=(0, 0))
    return shapely.affinity.translate(turned, label.easting, label.northing)
