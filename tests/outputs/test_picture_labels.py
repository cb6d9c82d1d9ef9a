"""Labels stand beside their lines, upright and clear of each other."""

import numpy as np
import pytest
import shapely

from soakline.outputs.picture_labels import Label, place_labels

NOTHING = np.empty((0, 2))
EM_M = 10.0


def level_line(northing: float, length: float = 200.0) -> shapely.LineString:
    return shapely.LineString([(0, northing), (length, northing)])


def one(line: shapely.LineString) -> Label:
    (label,) = place_labels(["s1"], [line], EM_M, NOTHING, most=5)
    return label


def test_a_label_stands_above_the_middle_of_its_line() -> None:
    label = one(level_line(50.0))
    assert label.easting == pytest.approx(100.0)
    assert 50.0 < label.northing < 50.0 + EM_M
    assert label.angle_deg == pytest.approx(0.0)


@pytest.mark.parametrize("bearing_deg", [0, 33, 91, 147, 200, 269, 303])
def test_no_label_stands_on_its_head(bearing_deg: float) -> None:
    line = shapely.affinity.rotate(level_line(0.0), bearing_deg)
    assert abs(one(line).angle_deg) <= 90 + 1e-9


def test_labels_of_lines_that_lie_close_do_not_overlap() -> None:
    lines = [level_line(3.0 * step) for step in range(40)]
    texts = [f"s{step:03d}" for step in range(40)]
    labels = place_labels(texts, lines, EM_M, NOTHING, most=100)
    assert 5 <= len(labels) < 40
    centres = np.array([(label.easting, label.northing) for label in labels])
    apart = np.abs(centres[:, None] - centres[None, :])
    clear = (apart[..., 0] > 20) | (apart[..., 1] > EM_M)
    assert clear[~np.eye(len(labels), dtype=bool)].all()


def test_the_longest_lines_are_labelled_first_and_no_more_than_asked() -> None:
    lines = [level_line(100.0 * step, 50.0 + step) for step in range(10)]
    labels = place_labels([str(step) for step in range(10)], lines, EM_M, NOTHING, most=3)
    assert [label.text for label in labels] == ["7", "8", "9"]


def test_a_label_gives_way_to_a_sign_on_its_line() -> None:
    sign = np.array([(100.0, 5.0)])
    (label,) = place_labels(["s1"], [level_line(0.0)], EM_M, sign, most=5)
    assert abs(label.easting - 100.0) > 10


def test_a_plan_without_swales_has_no_labels() -> None:
    assert place_labels([], [], EM_M, NOTHING, most=5) == []
