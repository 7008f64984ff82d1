"""A hello is dropped exactly where there are words for why."""

from hypothesis import given, settings
from hypothesis import strategies as st

from ingest.core.channels import CHANNELS
from ingest.core.counters import FrameFault
from ingest.core.ids import BootId, HeadId
from ingest.wire.codes import MessageType
from ingest.wire.hello import ChannelInfo, Hello, why_dropped

SOUND = Hello(
    HeadId("0123456789abcdef"),
    BootId(77),
    "1.2.3",
    channels=tuple(ChannelInfo.of(c, rate_dhz=1000, low=-9, high=9) for c in CHANNELS),
).to_body()


@given(
    st.lists(
        st.tuples(st.integers(1, len(SOUND) - 1), st.binary(min_size=1, max_size=8)), max_size=3
    ),
    st.integers(1, len(SOUND) + 9),
)
@settings(max_examples=1500, deadline=None)
def test_words_and_judgement_agree_on_any_damage(edits, size):
    body = bytearray(SOUND + bytes(9))
    for place, new in edits:
        body[place : place + len(new)] = new
    body = bytes([MessageType.HELLO]) + bytes(body[1:size])
    dropped = isinstance(Hello.from_body(body), FrameFault)
    assert bool(why_dropped(body)) == dropped


def test_a_sound_hello_has_no_words():
    assert why_dropped(SOUND) == ""


def test_a_hello_with_its_numbers_the_other_way_round_is_told_by_a_number():
    body = bytearray(SOUND)
    body[40:42] = (1000).to_bytes(2, "big")
    assert "rate" in why_dropped(bytes(body))
