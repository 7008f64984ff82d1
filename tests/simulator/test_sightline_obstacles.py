"""Lines of sight against boxes and tyres, held against points tried one by one."""

import numpy as np

from ingest.simulator.obstacles import Box, Tyre, blocked_by_boxes, blocked_by_tyres

BOXES = (
    Box("beam", (-0.5, -0.4, 0.2), (0.3, 0.1, 0.9)),
    Box("tank", (1.0, 0.5, 0.0), (1.5, 1.2, 0.7)),
)
TYRES = (Tyre(0.0, 0.5, 0.5, 0.6, 0.9), Tyre(1.4, 0.5, 0.45, -1.0, -0.3))
ON_THE_WAY = np.linspace(0.0, 1.0, 2001)[:, None]


def lines(count: int) -> tuple[np.ndarray, np.ndarray]:
    random = np.random.default_rng(31)
    low, high = (-2.0, -2.0, -0.2), (3.0, 2.0, 1.4)
    return random.uniform(low, high, (count, 3)), random.uniform(low, high, (count, 3))


def in_a_box(points: np.ndarray, grown: float) -> bool:
    inside = [
        np.all((points > np.array(b.low_m) - grown) & (points < np.array(b.high_m) + grown), axis=1)
        for b in BOXES
    ]
    return bool(np.any(inside))


def in_a_tyre(points: np.ndarray, grown: float) -> bool:
    inside = [
        (np.hypot(points[:, 0] - t.x_m, points[:, 2] - t.z_m) < t.radius_m + grown)
        & (points[:, 1] > t.y_low_m - grown)
        & (points[:, 1] < t.y_high_m + grown)
        for t in TYRES
    ]
    return bool(np.any(inside))


def test_boxes_block_exactly_the_lines_that_pass_through_them() -> None:
    start, end = lines(400)
    found = blocked_by_boxes(start, end, BOXES)
    assert 40 < found.sum() < 360
    for a, b, blocked in zip(start, end, found, strict=True):
        points = a + ON_THE_WAY * (b - a)
        assert in_a_box(points, -0.004) <= blocked <= in_a_box(points, 0.004)


def test_tyres_block_exactly_the_lines_that_pass_through_them() -> None:
    start, end = lines(400)
    found = blocked_by_tyres(start, end, TYRES)
    assert 40 < found.sum() < 360
    for a, b, blocked in zip(start, end, found, strict=True):
        points = a + ON_THE_WAY * (b - a)
        assert in_a_tyre(points, -0.004) <= blocked <= in_a_tyre(points, 0.004)


def test_a_line_square_to_an_axis_is_no_special_case() -> None:
    start = np.array([[-2.0, 0.0, 0.5], [-2.0, 0.75, 0.5], [-2.0, 1.5, 0.5]])
    end = start + np.array([[5.0, 0.0, 0.0]])
    assert blocked_by_boxes(start, end, BOXES).tolist() == [True, True, False]
    assert blocked_by_tyres(start, end, TYRES[:1]).tolist() == [False, True, False]


def test_nothing_blocks_where_nothing_stands() -> None:
    start, end = lines(3)
    assert not blocked_by_boxes(start, end, ()).any()
    assert not blocked_by_tyres(start, end, ()).any()
