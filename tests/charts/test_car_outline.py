"""The outline of a car: what is told on it can be read."""

from itertools import combinations

from pricing.charts.car_outline import _PLACES

WIDTH, HEIGHT = 660, 264
"""Of the drawing, in its own units."""


def test_no_area_is_told_over_another_or_cut_at_the_edge() -> None:
    """A box of counts with the disc at its right end, by the sizes in ``_mark``."""
    boxes = {name: (x - 31, y - 21, x + 60, y + 7) for name, (x, y) in _PLACES.items()}
    for name, (left, top, right, bottom) in boxes.items():
        assert left >= 0 and top >= 0 and right <= WIDTH and bottom + 14 <= HEIGHT, name
    lapping = [
        (one, other)
        for (one, a), (other, b) in combinations(boxes.items(), 2)
        if a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
    ]
    assert lapping == []
