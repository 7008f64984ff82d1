"""Order, gaps, wraps and restarts. Invented streams: the rules are this project's own."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.chain.order import Order, OrderSettings
from ingest.core.counters import LinkCounters
from ingest.core.errors import ConfigError

PERIOD_US = 10_000


def order(**changes):
    counters = LinkCounters()
    return Order(OrderSettings(**changes), 1e6 / PERIOD_US, counters), counters


def times(*seqs):
    return np.array(seqs) * PERIOD_US


def feed(stage, raw, seqs, **more):
    return stage.feed(raw(times(*seqs), seq=np.array(seqs), **more))


def taken(runs):
    return [int(t) // PERIOD_US for run in runs for t in run.t_us]


def test_the_first_run_starts_a_new_clock(raw):
    stage, _ = order()
    (first,) = feed(stage, raw, [3, 4, 5])
    assert first.after_gap
    assert first.restarted
    (next_run,) = feed(stage, raw, [6, 7])
    assert not next_run.after_gap
    assert not next_run.restarted


def test_a_missing_number_is_lost_and_opens_a_new_run(raw):
    stage, counters = order()
    runs = feed(stage, raw, [0, 1, 2, 6, 7])
    assert [len(run.t_us) for run in runs] == [3, 2]
    assert [run.after_gap for run in runs] == [True, True]
    assert [run.restarted for run in runs] == [True, False]
    assert counters.lost == 3


def test_a_loss_between_two_feeds_is_seen(raw):
    stage, counters = order()
    feed(stage, raw, [0, 1])
    (run,) = feed(stage, raw, [3])
    assert run.after_gap
    assert counters.lost == 1


def test_duplicates_and_late_samples_are_dropped_without_a_gap(raw):
    stage, counters = order()
    runs = feed(stage, raw, [0, 1, 2, 2, 1, 2, 3, 4, 3, 5])
    assert taken(runs) == [0, 1, 2, 3, 4, 5]
    assert len(runs) == 1
    assert counters.duplicates == 4
    assert counters.lost == 0


def test_a_number_that_came_late_stays_counted_as_lost(raw):
    stage, counters = order()
    runs = feed(stage, raw, [0, 1, 3, 2, 4])
    assert taken(runs) == [0, 1, 3, 4]
    assert (counters.lost, counters.duplicates) == (1, 1)


def test_sequence_and_time_wrap_without_a_gap(raw):
    stage, counters = order()
    n = 20
    start = 2**32 - 10 * PERIOD_US
    (run,) = stage.feed(raw(start + np.arange(n) * PERIOD_US, seq=65530 + np.arange(n)))
    assert np.all(np.diff(run.t_us) == PERIOD_US)
    assert run.t_us[-1] > 2**32
    assert (counters.lost, counters.reboots, counters.duplicates) == (0, 0, 0)


def test_the_codes_stay_with_their_samples(raw):
    stage, _ = order()
    run = raw(times(0, 1, 1, 2, 5, 6), seq=[0, 1, 1, 2, 5, 6], channels={"incl_x": range(6)})
    pieces = stage.feed(run)
    assert [piece.codes[0].tolist() for piece in pieces] == [[0, 1, 3], [4, 5]]
    assert [piece.arrived_ns.tolist() for piece in pieces] == [
        run.arrived_ns[[0, 1, 3]].tolist(),
        run.arrived_ns[[4, 5]].tolist(),
    ]


def test_another_boot_id_is_a_reboot_even_where_time_goes_on(raw):
    stage, counters = order()
    feed(stage, raw, [0, 1])
    (run,) = feed(stage, raw, [2, 3], boot=2)
    assert run.restarted
    assert run.after_gap
    assert counters.reboots == 1
    assert counters.lost == 0


def test_time_that_falls_back_far_is_a_restart_without_a_hello(raw):
    stage, counters = order()
    feed(stage, raw, range(1000, 1010))
    arrived = 5_000_000_000 + 1012 * PERIOD_US * 1000 + times(0, 1, 2) * 1000
    (run,) = feed(stage, raw, [0, 1, 2], arrived_ns=arrived)
    assert run.restarted
    assert taken([run]) == [0, 1, 2]
    assert counters.reboots == 1
    assert counters.duplicates == 0


def test_time_that_runs_ahead_of_the_arrivals_is_a_restart(raw):
    stage, counters = order()
    feed(stage, raw, [0, 1])
    arrived = 5_000_000_000 + times(2, 3) * 1000
    (run,) = stage.feed(raw(times(90_000, 90_001), seq=[40, 41], arrived_ns=arrived))
    assert run.restarted
    assert counters.reboots == 1


def test_samples_that_waited_in_a_buffer_are_no_restart(raw):
    stage, counters = order()
    seqs = np.arange(800)
    (run,) = stage.feed(raw(times(*seqs), arrived_ns=np.full(800, 20_000_000_000)))
    assert len(run.t_us) == 800
    assert counters.reboots == 0


def test_a_pause_is_a_gap_with_nothing_lost(raw):
    stage, counters = order()
    stage.feed(raw(times(0, 1), seq=[0, 1]))
    (run,) = stage.feed(raw(times(600, 601), seq=[2, 3]))
    assert run.after_gap
    assert not run.restarted
    assert counters.lost == 0


def test_a_loss_of_half_a_minute_keeps_the_clock(raw):
    stage, counters = order()
    feed(stage, raw, [0, 1])
    (run,) = feed(stage, raw, [3001, 3002])
    assert run.after_gap
    assert not run.restarted
    assert (counters.lost, counters.reboots) == (2999, 0)


def test_a_long_silence_maps_the_clock_anew_but_counts_the_loss(raw):
    stage, counters = order()
    feed(stage, raw, [0, 1])
    (run,) = feed(stage, raw, [7001, 7002])
    assert run.restarted
    assert counters.lost == 6999
    assert counters.reboots == 0


def test_a_loss_longer_than_the_sequence_number_is_counted_by_time(raw):
    stage, counters = order()
    feed(stage, raw, [0, 1])
    feed(stage, raw, [70_000])
    assert counters.lost == 70_000 - 2


def test_a_reset_forgets_the_head(raw):
    stage, counters = order()
    feed(stage, raw, [0, 1])
    stage.reset()
    (run,) = feed(stage, raw, [50], boot=9)
    assert run.restarted
    assert (counters.lost, counters.reboots) == (0, 0)


SEQS = st.lists(
    st.tuples(
        st.sampled_from(["next", "next", "next", "skip", "back", "wrap", "restart", "ahead"]),
        st.integers(0, 40),
    ),
    min_size=2,
    max_size=60,
)


def hostile(raw, steps):
    """A stream with losses, repeats and restarts, arrivals in order but late by turns."""
    seq, t, arrived, rows = 0, 2**32 - 15 * PERIOD_US, 10**10, []
    for kind, size in steps:
        ds = {"next": 1, "skip": 1 + size, "back": -size, "wrap": 65_000}.get(kind, 1)
        dt = {"restart": -(10**9) - size, "ahead": 10**9 + size}.get(kind, ds * PERIOD_US)
        silence = 70 * 10**9 if kind == "wrap" and size % 2 else 0
        seq, t = seq + ds, t + dt
        arrived += max(ds, 0) * PERIOD_US * 1000 * (size % 3) // 2 + silence
        rows.append((seq, t, arrived))
    seqs, t_us, arrivals = np.array(rows).T
    return raw(t_us, seq=seqs, arrived_ns=arrivals, channels={"incl_x": np.arange(len(rows))})


@settings(max_examples=200, deadline=None, derandomize=True)
@given(steps=SEQS, cuts=st.lists(st.integers(0, 60), max_size=8))
def test_the_cut_of_a_hostile_stream_does_not_show(raw, cut_raw, steps, cuts):
    run = hostile(raw, steps)
    results = []
    for pieces in ([run], cut_raw(run, cuts), cut_raw(run, range(len(run)))):
        stage, counters = order()
        flat = []
        for piece in pieces:
            for out in stage.feed(piece):
                opens = [(out.after_gap, out.restarted)] + [(False, False)] * (len(out.t_us) - 1)
                flat += list(zip(out.t_us.tolist(), out.codes[0].tolist(), opens, strict=True))
        results.append((flat, counters))
    assert results[0] == results[1] == results[2]


@settings(max_examples=200, deadline=None, derandomize=True)
@given(steps=SEQS)
def test_time_only_grows_within_a_clock_and_every_sample_is_kept_or_counted(raw, steps):
    run = hostile(raw, steps)
    stage, counters = order()
    newest = -1
    kept = 0
    for out in stage.feed(run):
        if out.restarted:
            newest = -1
        assert out.t_us[0] > newest
        assert np.all(np.diff(out.t_us) > 0)
        newest = out.t_us[-1]
        kept += len(out.t_us)
    assert kept + counters.duplicates == len(run)


@pytest.mark.parametrize(
    ("field", "value"),
    [("reorder_s", -1.0), ("pause_periods", 1.0), ("jump_s", 0.0), ("silence_s", 2000.0)],
)
def test_refuses_settings_that_make_no_sense(field, value):
    with pytest.raises(ConfigError, match=field):
        OrderSettings(**{field: value})
