"""Evidence depth: how many sales stand behind a car's price, in classes with plain names."""

from typing import Final

import numpy as np

from pricing.arrays import Ints

DEPTHS: Final = ("make unknown", "model unknown", "1 to 5 sales", "6 to 20 sales", "over 20 sales")
"""Classes, least evidence first; the sales counted are those of the car's model (second level of groups, or
the only one)."""

EDGES: Final = (1, 6, 21)


def depth_index(codes: Ints, counts: list[Ints]) -> Ints:
    """Index into ``DEPTHS`` for every row of ``codes``; without groups all evidence is the market's, the
    deepest.

    >>> depth_index(np.array([[0, 0], [0, -1], [-1, -1]]), [np.array([30]), np.array([7])]).tolist()
    [3, 1, 0]
    """
    if not counts:
        return np.full(len(codes), len(DEPTHS) - 1)
    level = min(1, len(counts) - 1)
    code = codes[:, level]
    sales = np.where(code >= 0, counts[level][code], 0)
    depth = 1 + np.digitize(sales, EDGES)
    return np.where(codes[:, 0] < 0, 0, depth)
