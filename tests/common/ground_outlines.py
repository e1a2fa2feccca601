"""What tests ask of outlines of ground: whether they hold a place, how far away it lies."""

from itertools import pairwise

import numpy as np


def inside(area, distance, right):
    """Whether places lie in an area: crossings of a ray with its outline, even or odd."""
    odd = np.zeros(distance.shape, dtype=bool)
    corners = list(zip(area.distance, area.right, strict=True))
    for (x, y), (u, w) in pairwise(corners):
        spans = (y > right) != (w > right)
        if y != w:
            odd ^= spans & (distance < x + (right - y) * (u - x) / (w - y))
    return odd


def away(area, distance, right):
    """Way from one place to the nearest of an area's outline, m."""
    corners = np.column_stack((area.distance, area.right))
    start, edge = corners[:-1], np.diff(corners, axis=0)
    to = np.array((distance, right)) - start
    square = np.maximum((edge**2).sum(axis=1), 1e-30)  # some edges join two equal points
    share = np.clip((to * edge).sum(axis=1) / square, 0.0, 1.0)
    return np.linalg.norm(to - share[:, None] * edge, axis=1).min()
