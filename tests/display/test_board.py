"""What waits for a page, and what a late page is told."""

import random
import threading

import pytest

from ingest.display import board as board_module
from ingest.display.board import Board, Note, Outbox

LIVE = "levelhead/v1/bay1/head/larch/incl_y"
STATE = "levelhead/v1/bay1/head/larch/status"
RESULT = "levelhead/v1/bay1/axle/1/left/camber"


def joined(board: Board) -> Outbox:
    outbox = board.join(8)
    assert outbox is not None
    return outbox


def test_a_late_page_gets_the_last_of_every_topic_marked_as_not_fresh():
    board = Board()
    board.post(Note(LIVE, b"1", False))
    board.post(Note(RESULT, b"2", False))
    board.post(Note(LIVE, b"3", False))

    assert joined(board).take(0) == [Note(RESULT, b"2", True), Note(LIVE, b"3", True)]


def test_a_cleared_topic_is_forgotten_and_the_clearing_is_passed_on():
    board = Board()
    board.post(Note(RESULT, b"2", False))
    early = joined(board)
    early.take(0)
    board.post(Note(RESULT, b"", False))

    assert early.take(0) == [Note(RESULT, b"", False)]
    assert joined(board).take(0) == []


@pytest.mark.parametrize("kind", ["evt/turn-begun", "reply/tablet", "cmd/identify"])
def test_what_happened_once_is_not_told_to_who_came_late(kind: str):
    board = Board()
    there = joined(board)
    board.post(Note(f"levelhead/v1/bay1/{kind}", b"{}", False))

    assert len(there.take(0)) == 1
    assert joined(board).take(0) == []


def test_a_slow_page_loses_overtaken_live_values_and_no_state():
    board = Board()
    board.post(Note(STATE, b"state before", False))
    slow = joined(board)
    for i in range(1000):
        board.post(Note(LIVE, b"%d" % i, False))
        if i % 100 == 0:
            board.post(Note(STATE, b"state %d" % i, False))

    notes = slow.take(0)
    assert [n.payload for n in notes if n.topic == STATE] == [
        b"state before",
        *(b"state %d" % i for i in range(0, 1000, 100)),
    ]
    assert [n.payload for n in notes if n.topic == LIVE] == [b"999"]
    assert notes[-1].topic == LIVE, "the newest value must not be shown before an older state"
    assert slow.overtaken == 999


def test_a_page_too_far_behind_is_sent_home_and_others_stay(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(board_module, "MOST_WAITING", 10)
    board = Board()
    stuck, awake = joined(board), joined(board)
    for i in range(11):
        board.post(Note(STATE, b"%d" % i, False))
        awake.take(0)

    assert stuck.closed
    assert stuck.take(0) == []
    assert not awake.closed


def test_memory_is_bounded_in_topics(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(board_module, "MOST_TOPICS", 3)
    board = Board()
    for i in range(5):
        board.post(Note(f"levelhead/v1/bay1/axle/{i}/left/camber", b"x", False))

    assert [note.topic.split("/")[4] for note in joined(board).take(0)] == ["2", "3", "4"]


def test_only_so_many_may_listen_and_a_place_is_given_back():
    board = Board()
    first = board.join(1)
    assert first is not None
    assert board.join(1) is None
    board.leave(first)
    assert board.join(1) is not None


def test_closing_wakes_a_listener_at_once_and_lets_no_one_in():
    board = Board()
    outbox = joined(board)
    outbox.take(0)
    woken = threading.Event()
    waiter = threading.Thread(target=lambda: (outbox.take(60), woken.set()))
    waiter.start()
    board.close()
    assert woken.wait(10)
    waiter.join()
    assert outbox.closed
    assert board.join(8) is None


def test_every_state_reaches_a_listener_in_order_however_the_threads_interleave():
    board = Board()
    outbox = joined(board)
    sent = [b"%d" % i for i in range(2000)]
    rng = random.Random(5)

    def post() -> None:
        for payload in sent:
            board.post(Note(STATE, payload, False))
            if rng.random() < 0.3:
                board.post(Note(LIVE, payload, False))
        board.post(Note(RESULT, b"end", False))

    poster = threading.Thread(target=post)
    poster.start()
    got: list[Note] = []
    while not got or got[-1].payload != b"end":
        taken = outbox.take(10)
        assert taken or not got or poster.is_alive()
        got += taken
    poster.join()

    assert [note.payload for note in got if note.topic == STATE] == sent
    live = [int(note.payload) for note in got if note.topic == LIVE]
    assert live == sorted(live)
