"""Numbers of set-ups against itertools, and blocks that leave none out."""

import itertools

import numpy as np
import pytest

from arrowloft.core.sweeping.grid import BLOCK, Blocks, Grid


def test_the_first_axis_changes_slowest_and_the_draw_fastest():
    grid = Grid((2, 3), samples=4)
    expected = list(itertools.product(range(2), range(3), range(4)))
    assert grid.setups == len(expected) == 24 and grid.points == 6
    for start, stop in ((0, 24), (5, 17), (23, 24)):
        (first, second), draw = grid.places(start, stop)
        assert list(zip(first, second, draw, strict=True)) == expected[start:stop]


def test_without_axes_there_is_one_point():
    places, draw = Grid((), samples=5).places(1, 4)
    assert places == [] and draw.tolist() == [1, 2, 3]
    assert Grid(()).setups == 1


def test_nothing_is_expanded_to_be_counted():
    assert Grid((10**15,) * 4, samples=10**15).setups == 10**75


@pytest.mark.parametrize(("setups", "flights"), [(1, 1), (4096, 1), (4097, 1), (100, 7), (9, 9999)])
def test_blocks_hold_each_set_up_once(setups, flights):
    blocks = Blocks.of(setups, flights)
    listed = np.concatenate([np.arange(*block) for block in blocks])
    assert np.array_equal(listed, np.arange(setups))
    assert all((stop - start) * flights <= max(BLOCK, flights) for start, stop in blocks)
    assert list(blocks) == [blocks[index] for index in range(len(blocks))]
    with pytest.raises(IndexError):
        blocks[len(blocks)]
