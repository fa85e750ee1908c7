"""The assignment is exact: held against brute force, SciPy's dense solver, networkx and OR-Tools,
and against published worked examples. Gains are what a pair is better than leaving both alone."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from unrung.matching.assign import best_assignment, total_gain
from unrung.matching.sides import Edges

FORBIDDEN = -1


def edges_of(gain: np.ndarray) -> Edges:
    """All pairs of a table of gains that are not FORBIDDEN, sorted by ring, then serve."""
    ring, glass = np.nonzero(gain != FORBIDDEN)
    return Edges(ring.astype(np.int64), glass.astype(np.int64), gain[ring, glass].astype(np.int64))


def ours(gain: np.ndarray) -> int:
    edges = edges_of(gain)
    partner = best_assignment(edges, gain.shape[0])
    paired = partner[partner >= 0]
    assert len(set(paired.tolist())) == len(paired), "a serve stands in two pairs"
    return total_gain(edges, partner)


def by_scipy(gain: np.ndarray) -> int:
    """Rings may stay alone: a column of nothing for each of them."""
    from scipy.optimize import linear_sum_assignment  # here: every process finds all tests

    usable = np.where(gain == FORBIDDEN, 0, gain)
    square = np.hstack([usable, np.zeros((gain.shape[0], gain.shape[0]), np.int64)])
    rows, columns = linear_sum_assignment(square, maximize=True)
    return int(square[rows, columns].sum())


def by_networkx(gain: np.ndarray) -> int:
    import networkx as nx

    graph = nx.Graph()
    for ring, glass in zip(*np.nonzero(gain > 0), strict=True):
        graph.add_edge(("ring", int(ring)), ("serve", int(glass)), weight=int(gain[ring, glass]))
    return sum(graph.edges[pair]["weight"] for pair in nx.max_weight_matching(graph))


def by_ortools(gain: np.ndarray) -> int:
    from ortools.graph.python import linear_sum_assignment as lsa

    rings, serves = gain.shape
    size = rings + serves
    solver = lsa.SimpleLinearSumAssignment()
    for left in range(size):
        for right in range(size):
            real = left < rings and right < serves and gain[left, right] > 0
            solver.add_arc_with_cost(left, right, -int(gain[left, right]) if real else 0)
    assert solver.solve() == solver.OPTIMAL
    return -solver.optimal_cost()


def by_force(gain: np.ndarray) -> int:
    rings, serves = gain.shape
    places = list(range(serves)) + [-1] * rings
    return max(
        sum(max(0, int(gain[ring, at])) if at >= 0 else 0 for ring, at in enumerate(order))
        for order in set(permutations(places, rings))
    )


def random_gains(rng: np.random.Generator, most: int, kind: int) -> np.ndarray:
    rings, serves = rng.integers(1, most + 1, 2)
    top = (1, 3, 1_000_000, 50)[kind]
    gain = rng.integers(0, top + 1, (rings, serves))
    if kind == 3:  # a band: only serves near in time are possible
        far = np.abs(np.subtract.outer(np.arange(rings), np.arange(serves))) > 2
        gain = np.where(far, FORBIDDEN, gain)
    else:
        gain = np.where(rng.random(gain.shape) < 0.3, FORBIDDEN, gain)
    return gain.astype(np.int64)


@pytest.mark.parametrize("kind", range(4))
def test_the_gain_is_scipys_on_hundreds_of_random_tables(kind: int) -> None:
    rng = np.random.default_rng(kind)
    for _ in range(400):
        gain = random_gains(rng, 14, kind)
        assert ours(gain) == by_scipy(gain), gain


@pytest.mark.parametrize("kind", range(4))
def test_the_gain_is_that_of_networkx_and_of_or_tools(kind: int) -> None:
    rng = np.random.default_rng(100 + kind)
    for _ in range(60):
        gain = random_gains(rng, 9, kind)
        assert ours(gain) == by_networkx(gain) == by_ortools(gain), gain


def test_no_order_of_few_rings_gains_more() -> None:
    rng = np.random.default_rng(7)
    for n in range(60):
        gain = random_gains(rng, 4, n % 4)
        assert ours(gain) == by_force(gain), gain


def test_large_sparse_bands_agree_with_the_dense_solver() -> None:
    rng = np.random.default_rng(3)
    gain = np.full((700, 650), FORBIDDEN, np.int64)
    for ring in range(700):
        for glass in range(max(0, ring - 6), min(650, ring + 7)):
            gain[ring, glass] = rng.integers(0, 5000)
    assert ours(gain) == by_scipy(gain)


@pytest.mark.parametrize(
    "gain",
    [
        np.zeros((0, 5), np.int64), np.zeros((5, 0), np.int64), np.full((4, 4), FORBIDDEN),
        np.zeros((3, 3), np.int64), np.full((6, 6), 10),
    ],
    ids=["no rings", "no serves", "all out of window", "nothing to gain", "all alike"],
)
def test_empty_and_even_tables(gain: np.ndarray) -> None:
    assert ours(gain.astype(np.int64)) == by_scipy(gain)


# Cost tables with their published optimum. OR-Tools' values were confirmed by running; that its
# guide prints them is from memory. A cost becomes a gain by taking it from a large number.
EXAMPLES = [
    ("SciPy reference, linear_sum_assignment", [[4, 1, 3], [2, 0, 5], [3, 2, 2]], 5),
    ("OR-Tools assignment guide", [[90, 76, 75, 70], [35, 85, 55, 65], [125, 95, 90, 105],
                                   [45, 110, 95, 115]], 265),
    ("OR-Tools guide, five workers", [[90, 80, 75, 70], [35, 85, 55, 65], [125, 95, 90, 95],
                                      [45, 110, 95, 115], [50, 100, 90, 100]], 265),
    ("README of AnabVangun/AssignmentProblem", [[1, 2, 25, 13], [5, 7, 25, 15], [10, 13, 16, 14],
                                                [17, 21, 11, 18], [15, 15, 15, 14]], 32),
    ("README of iamsarin/JavascriptAssignmentModel", [[7, 5, 9, 8, 11], [9, 12, 7, 11, 10],
                                                      [8, 5, 4, 6, 9], [7, 3, 6, 9, 5],
                                                      [4, 6, 7, 5, 11]], 27),
    ("a classroom notebook", [[5, 7, 11, 6], [8, 5, 9, 6], [4, 7, 10, 7], [10, 4, 8, 3]], 23),
    ("munkres package docs (from memory)", [[5, 9, 1], [10, 3, 2], [8, 7, 4]], 12),
    ("greedy would pay 101", [[1, 2], [1, 100]], 3),
]


@pytest.mark.parametrize(("costs", "best"), [one[1:] for one in EXAMPLES], ids=[o[0] for o in EXAMPLES])
def test_published_examples(costs: list[list[int]], best: int) -> None:
    table = np.array(costs, np.int64)
    large = 10_000
    assert large * min(table.shape) - ours(large - table) == best


def test_the_unique_published_pairs_are_found() -> None:
    table = 10_000 - np.array(EXAMPLES[4][1], np.int64)
    assert best_assignment(edges_of(table), 5).tolist() == [1, 2, 3, 4, 0]


def test_ties_are_settled_the_same_way_each_time() -> None:
    gain = np.full((8, 8), 5, np.int64)
    first = best_assignment(edges_of(gain), 8)
    assert all((best_assignment(edges_of(gain), 8) == first).all() for _ in range(5))
