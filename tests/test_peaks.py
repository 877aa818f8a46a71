"""Peaks along rings: each against what it is by definition, and whatever other rings there are."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from screenplan.site.peaks import DIP_DEG, PLATEAU_DEG, find_peaks

LEAST = 20.0


def rings_of(seed):
    """Rings of a few samples each, whose values are all different."""
    rng = np.random.default_rng(seed)
    count = rng.integers(1, 25, 5)
    value = rng.permutation(count.sum()) * 50.0 / count.sum()
    s = np.concatenate([np.sort(rng.uniform(0, 30, many)) for many in count])
    return s, value, count, np.full(5, 30.0)


def is_apart(value, item):
    """Tell whether the way from a sample to any higher one falls by `DIP_DEG` below it, both ways round."""
    for way in (-1, 1):
        lowest = value[item]
        for k in range(1, len(value)):
            there = value[(item + way * k) % len(value)]
            lowest = min(lowest, there)
            if there > value[item] and value[item] - lowest < DIP_DEG:
                return False
    return True


@settings(max_examples=60)
@given(st.integers(0, 100_000))
def test_a_peak_is_what_falls_on_all_ways_to_what_is_higher(seed):
    # Evidence: the definition, asked of each sample by itself.
    s, value, count, length = rings_of(seed)
    found = find_peaks(s, value, count, length, LEAST)
    begin, expected = 0, []
    for ring, many in enumerate(count):
        own = value[begin : begin + many]
        expected += [(ring, v) for k, v in enumerate(own) if v >= LEAST and is_apart(own, k)]
        begin += many
    assert sorted(zip(found.ring.tolist(), found.value.tolist(), strict=True)) == sorted(expected)
    assert (np.diff(found.ring) >= 0).all()


@settings(max_examples=30)
@given(st.integers(0, 100_000))
def test_a_plateau_holds_what_is_as_high(seed):
    # Evidence: invariant; its ends are samples near the peak's value, and it holds the peak.
    s, value, count, length = rings_of(seed)
    found = find_peaks(s, value, count, length, LEAST)
    first = np.cumsum(count) - count
    for ring, top, middle, half in zip(*(part.tolist() for part in found), strict=True):
        at, own = (part[first[ring] : first[ring] + count[ring]] for part in (s, value))
        for end in (middle - half, middle + half):
            near = np.abs((at - end + 15.0) % 30.0 - 15.0).argmin()
            assert abs((at[near] - end + 15.0) % 30.0 - 15.0) < 1e-9
            assert own[near] >= top - PLATEAU_DEG


@settings(max_examples=30)
@given(st.integers(0, 100_000))
def test_the_peaks_of_a_ring_do_not_hang_on_the_others(seed):
    # Evidence: invariant, to the last digit and in the same order.
    s, value, count, length = rings_of(seed)
    whole = find_peaks(s, value, count, length, LEAST)
    first = np.cumsum(count) - count
    for ring in range(5):
        own = slice(first[ring], first[ring] + count[ring])
        alone = find_peaks(s[own], value[own], count[ring : ring + 1], length[:1], LEAST)
        for part, same in zip(whole[1:], alone[1:], strict=True):
            assert part[whole.ring == ring].tolist() == same.tolist()
