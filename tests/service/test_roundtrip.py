"""Round trips of clock pings. The rule is SPEC.md 5.6: (T4 - T1) - (sent - received)."""

from ingest.core.units import NS
from ingest.service.roundtrip import RoundTrips
from ingest.wire.reports import ClockPong

MS = NS // 1000


def test_a_round_trip_is_the_time_away_less_the_time_in_the_head():
    trips = RoundTrips()
    ping = trips.next_ping(5 * NS)
    assert trips.least_ns is None
    trips.take(ClockPong(0, ping, 2_000_123, 2_000_190), 5 * NS + 4 * MS)
    assert trips.least_ns == 4 * MS - 67_000


def test_the_heads_clock_may_wrap_between():
    trips = RoundTrips()
    ping = trips.next_ping(0)
    trips.take(ClockPong(0, ping, (1 << 32) - 100, 400), 3 * MS)
    assert trips.least_ns == 3 * MS - 500_000


def test_pings_are_ten_seconds_apart():
    trips = RoundTrips()
    sent = [trips.next_ping(second * NS) is not None for second in range(21)]
    assert [at for at, each in enumerate(sent) if each] == [0, 10, 20]


def test_the_least_of_the_last_six_counts():
    trips = RoundTrips()
    for i, away_ms in enumerate([1, 5, 4, 3, 6, 7, 8]):
        at = i * 10 * NS
        trips.take(ClockPong(0, trips.next_ping(at), 0, 0), at + away_ms * MS)
        if i == 5:
            assert trips.least_ns == 1 * MS
    assert trips.least_ns == 3 * MS


def test_what_answers_no_ping_under_way_is_passed_over():
    trips = RoundTrips()
    trips.take(ClockPong(0, 1, 0, 0), 1 * MS)
    ping = trips.next_ping(0)
    trips.take(ClockPong(0, ping + 1, 0, 0), 1 * MS)
    trips.take(ClockPong(0, ping, 0, 2_000), 1 * MS)  # longer in the head than away
    assert trips.least_ns is None
    ping = trips.next_ping(10 * NS)
    trips.take(ClockPong(0, ping, 0, 0), 12 * NS)  # too late
    assert trips.least_ns is None
    ping = trips.next_ping(20 * NS)
    trips.take(ClockPong(0, ping, 0, 0), 20 * NS + 2 * MS)
    trips.take(ClockPong(0, ping, 0, 0), 20 * NS + 1 * MS)  # said twice
    assert trips.least_ns == 2 * MS


def test_a_link_opened_anew_begins_anew():
    trips = RoundTrips()
    trips.take(ClockPong(0, trips.next_ping(0), 0, 0), 1 * MS)
    trips.restart()
    assert trips.least_ns is None
    assert trips.next_ping(1 * NS) is not None


def test_a_ping_without_an_answer_in_time_is_counted():
    trips = RoundTrips()
    for second in range(30):
        trips.next_ping(second * NS)
    assert (trips.unanswered, trips.unanswered_in_a_row) == (3, 3)
    trips.take(ClockPong(0, trips.next_ping(30 * NS), 0, 0), 30 * NS + 1 * MS)
    trips.next_ping(32 * NS)
    assert (trips.unanswered, trips.unanswered_in_a_row) == (3, 0)
    trips.take(ClockPong(0, trips.next_ping(40 * NS), 0, 2_000), 40 * NS + 1 * MS)  # nonsense
    trips.next_ping(42 * NS)
    assert (trips.unanswered, trips.unanswered_in_a_row) == (4, 1)


def test_a_round_trip_is_forgotten_when_the_head_answers_no_more():
    trips = RoundTrips()
    trips.take(ClockPong(0, trips.next_ping(0), 0, 0), 1 * MS)
    for second in range(62):
        assert trips.least_ns == 1 * MS
        trips.next_ping(second * NS)
    trips.next_ping(62 * NS)
    assert trips.least_ns is None


def test_a_ping_that_was_not_sent_is_no_fault_of_the_head():
    trips = RoundTrips()
    trips.next_ping(0)
    trips.not_sent()
    trips.next_ping(2 * NS)
    assert trips.unanswered == 0
