"""What waits for the broker, what gives way, and in which order it leaves."""

from hypothesis import given
from hypothesis import strategies as st

from ingest.outputs.outbox import Outbox, Outgoing
from ingest.payload.topics import Topics

S = 1_000_000_000
TOPICS = Topics("t")


def live(topic, payload=b"{}", *, at_s=0, expiry_s=3.0, retain=True):
    return Outgoing(topic, payload, retain, 0, expiry_s, at_s * S)


def state(topic, payload=b"{}"):
    return Outgoing(topic, payload, True, 1, None, 0)


def news(payload, *, at_s=0, expiry_s=None):
    return Outgoing("evt/x", payload, False, 1, expiry_s, at_s * S)


def taken(box, now_s=0, *, may_owe=True):
    found = []
    while (message := box.take(now_s * S, may_owe=may_owe)) is not None:
        found.append(message)
    return found


def payloads(messages):
    return [message.payload for message in messages]


def test_the_newest_live_value_of_a_topic_overtakes_the_older():
    box = Outbox()
    for n in range(5):
        box.put(live("a", b"%d" % n))
    box.put(live("b", b"9"))
    assert payloads(taken(box)) == [b"4", b"9"]
    assert box.counters.overtaken == 4


def test_a_live_value_that_waited_too_long_is_dropped_and_counted():
    box = Outbox()
    box.put(live("a", b"old", at_s=0))
    box.put(live("b", b"young", at_s=2))
    assert payloads(taken(box, now_s=4)) == [b"young"]
    assert box.counters.expired == 1


def test_news_keeps_its_order_and_loses_the_oldest_when_there_is_too_much():
    box = Outbox(news_limit=3)
    for n in range(5):
        box.put(news(b"%d" % n))
    assert payloads(taken(box)) == [b"2", b"3", b"4"]
    assert box.counters.crowded_out == 2


def test_a_reply_that_nobody_waits_for_any_more_is_dropped():
    box = Outbox()
    box.put(news(b"late", at_s=0, expiry_s=5.0))
    assert taken(box, now_s=6) == []
    assert box.counters.expired == 1


def test_state_is_never_lost_and_only_its_newest_is_sent():
    box = Outbox(news_limit=1)
    for n in range(2000):
        box.put(state(f"axle/{n}", b"1"))
        box.put(state(f"axle/{n}", b"2"))
    assert payloads(taken(box, now_s=10**6)) == [b"2"] * 2000


def test_with_no_room_for_acknowledgements_only_live_values_leave():
    box = Outbox()
    box.put(news(b"n"))
    box.put(state("s", b"s"))
    box.put(live("l", b"l"))
    assert payloads(taken(box, may_owe=False)) == [b"l"]
    assert payloads(taken(box)) == [b"n", b"s"]
    assert box.owes == 0


def test_a_new_connection_is_told_descriptions_then_birth_then_the_rest():
    box = Outbox()
    for topic in (TOPICS.axle(1, "left", "camber"), TOPICS.head_meta("a"), TOPICS.meta):
        box.put(state(topic, topic.encode()))
    box.put(state(TOPICS.status, b"an older status"))
    taken(box)
    box.say_again(state(TOPICS.status, b"birth"), TOPICS.is_meta)
    order = [(m.topic, m.payload) for m in taken(box)]
    assert {topic for topic, _ in order[:2]} == {TOPICS.head_meta("a"), TOPICS.meta}
    assert order[2] == (TOPICS.status, b"birth")
    assert [topic for topic, _ in order[3:]] == [TOPICS.axle(1, "left", "camber")]


def test_retained_live_values_are_said_again_only_while_they_are_young():
    box = Outbox()
    box.put(live("old", b"o", at_s=0))
    box.put(live("young", b"y", at_s=9))
    box.put(live("gone", b"g", at_s=9, retain=False))
    taken(box, now_s=9)
    box.say_again(state(TOPICS.status), TOPICS.is_meta)
    assert [m.topic for m in taken(box, now_s=10)] == [TOPICS.status, "young"]


def test_a_cleared_topic_is_cleared_at_the_broker_and_not_said_again():
    box = Outbox()
    box.put(state("a", b"1"))
    box.put(state("a", b""))
    assert payloads(taken(box)) == [b""]
    box.say_again(state(TOPICS.status), TOPICS.is_meta)
    assert [m.topic for m in taken(box)] == [TOPICS.status]


def test_a_clearing_that_was_not_acknowledged_is_repeated():
    box = Outbox()
    box.put(state("a", b""))
    box.give_back(taken(box))
    box.say_again(state(TOPICS.status), TOPICS.is_meta)
    assert ("a", b"") in [(m.topic, m.payload) for m in taken(box)]


def test_what_comes_back_never_overtakes_what_is_newer():
    box = Outbox()
    box.put(state("a", b"1"))
    box.put(news(b"first"))
    under_way = taken(box)
    box.put(state("a", b"2"))
    under_way += taken(box)
    box.put(news(b"second"))
    box.give_back(under_way)
    assert payloads(taken(box)) == [b"first", b"second", b"2"]


@given(
    st.lists(
        st.tuples(
            st.sampled_from("abc"), st.sampled_from([0, 1]), st.booleans(), st.binary(max_size=2)
        ),
        max_size=40,
    )
)
def test_after_any_outage_the_broker_holds_the_newest_state_of_each_topic(puts):
    box = Outbox()
    newest = {}
    for topic, qos, retain, payload in puts:
        box.put(Outgoing(topic, payload, retain, qos, None, 0))
        if retain:
            newest[topic] = (qos, payload)
    box.give_back(taken(box))
    box.say_again(state(TOPICS.status, b"birth"), TOPICS.is_meta)
    held = {}
    for message in taken(box):
        if message.retain:
            held[message.topic] = message.payload
    wanted = {t: p for t, (qos, p) in newest.items() if p}
    assert {t: p for t, p in held.items() if p} == wanted | {TOPICS.status: b"birth"}


WAYS = ("put", "take", "lose")


@given(st.lists(st.tuples(st.sampled_from(WAYS), st.sampled_from("abc")), max_size=60))
def test_what_was_said_last_is_heard_last_whatever_waited_before(steps):
    """MQTT 5.0, 4.6: a receiver may count on the order of messages within a topic; that it holds
    between topics, too, is our own promise: a job's guidance never comes before its step."""
    box, under_way, heard, said = Outbox(), [], {}, 0
    for way, topic in (*steps, ("take", "a")):
        if way == "put":
            said += 1
            box.put(state(topic, b"%d" % said))
        elif way == "lose":
            box.give_back(under_way)
            under_way, heard = [], {}  # the next connection hears it all again
        while way == "take" and (message := box.take(0, may_owe=True)) is not None:
            under_way.append(message)
            number = int(message.payload)
            assert all(number >= other for other in heard.values()), "overtaken"
            heard[message.topic] = number
