"""Where the names and numbers of a drawing stand."""

import numpy as np
import pytest

from ingest.commands.network_labels import SIGN_WIDTH, Places


def box(at, text, size):
    half = SIGN_WIDTH * size * len(text) / 2.0
    middle = at[1] - 0.35 * size
    return at[0] - half, middle - size / 2.0, at[0] + half, middle + size / 2.0


def overlap(one, other):
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


@pytest.mark.parametrize("end", [(100.0, 0.0), (0.0, 100.0), (70.0, 70.0), (-60.0, 30.0)])
def test_a_number_stands_beside_its_line(end):
    places = Places(np.array([[(0.0, 0.0), end]]))
    x0, y0, x1, y1 = box(places.beside_line((0.0, 0.0), end, "12, 13", 6.5), "12, 13", 6.5)
    # By hand: no point of the line lies within the box, and the box is near its middle.
    on_line = np.linspace(0.0, 1.0, 500)[:, None] * np.array(end)
    inside = (on_line > (x0, y0)).all(axis=1) & (on_line < (x1, y1)).all(axis=1)
    assert not inside.any()
    assert np.hypot(*(np.array([(x0 + x1) / 2, (y0 + y1) / 2]) - np.array(end) / 2)) < 20.0


def test_texts_do_not_cover_each_other():
    places = Places(np.array([[(0.0, 0.0), (100.0, 0.0)]]))
    found = [box(places.beside_line((0.0, 0.0), (100.0, 0.0), "10", 6.5), "10", 6.5)]
    for _ in range(5):
        found.append(box(places.beside_line((0.0, 0.0), (100.0, 0.0), "10", 6.5), "10", 6.5))
    for _ in range(4):
        found.append(box(places.beside_spot((50.0, 0.0), "L1", 9.0, 10.0), "L1", 9.0))
    for i, one in enumerate(found):
        assert not any(overlap(one, other) for other in found[:i])


def test_a_name_keeps_off_the_lines_where_it_can():
    spoke = [[(0.0, 0.0), (60.0, -40.0)], [(0.0, 0.0), (-60.0, -40.0)]]
    at = Places(np.array(spoke)).beside_spot((0.0, 0.0), "L1", 9.0, 10.0)
    assert at[1] > 0.0
