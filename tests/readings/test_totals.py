"""Volume without a time against rings: as much as can be matched, never more, and by totals only."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from unrung.ledger.totals import Slot, share_out

slots = st.lists(
    st.builds(lambda start, length, volume: Slot(start, start + length, volume),
              st.integers(0, 100), st.integers(1, 60), st.integers(0, 50)), max_size=6)
needs = st.lists(st.tuples(st.integers(-20, 180), st.integers(0, 40)), max_size=8)
window = st.integers(0, 30)


@given(slots, needs, window, window)
def test_as_much_as_possible_is_given_and_nothing_twice(
    slots: list[Slot], needs: list[tuple[int, int]], before: int, after: int
) -> None:
    """The most that can be given is the maximum flow of the network of who may take from whom, as
    another library computes it (networkx, maximum_flow_value)."""
    given_to = share_out(slots, needs, before, after)
    taken = [0] * len(slots)
    for (at, wanted), parts in zip(needs, given_to, strict=True):
        assert sum(volume for _, volume in parts) <= wanted
        for slot, volume in parts:
            assert volume > 0
            assert slots[slot].start_ms - before <= at <= slots[slot].end_ms + after
            taken[slot] += volume
    assert all(volume <= slot.volume_ul for volume, slot in zip(taken, slots, strict=True))
    assert sum(taken) == _most(slots, needs, before, after)


def _most(slots: list[Slot], needs: list[tuple[int, int]], before: int, after: int) -> int:
    import networkx  # here, since every process that runs some tests finds all of them

    network = networkx.DiGraph()
    network.add_nodes_from(["source", "sink"])
    for number, slot in enumerate(slots):
        network.add_edge("source", ("slot", number), capacity=slot.volume_ul)
        for need, (at, wanted) in enumerate(needs):
            if slot.start_ms - before <= at <= slot.end_ms + after:
                network.add_edge(("slot", number), ("need", need), capacity=wanted)
    for need, (_, wanted) in enumerate(needs):
        network.add_edge(("need", need), "sink", capacity=wanted)
    return int(networkx.maximum_flow_value(network, "source", "sink"))


def test_the_order_of_equal_times_is_the_order_given() -> None:
    """So that the ledger's own order decides, and not that of a table."""
    given_to = share_out([Slot(0, 10, 5)], [(5, 4), (5, 4)], 0, 0)
    assert given_to == [[(0, 4)], [(0, 1)]]
