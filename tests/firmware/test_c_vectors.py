"""The C reference writes and reads the examples of firmware-protocol/SPEC.md, byte for byte."""

from cobs import cobs

CRC_SIZE = 4
FROM_HOST = {"ping", "command"}
FROM_HEAD = {"hello", "sample", "batch", "status", "event", "pong", "ack", "refusal"}


def body_in(frame):
    return cobs.decode(frame.removesuffix(b"\0"))[:-CRC_SIZE]


def is_of_this_version(value):
    """Whether a head of version 1.0 can say it; the other examples show newer ones."""
    return not any(key.startswith("more") for key in value) and value.get("major", 1) == 1


def test_every_message_of_a_head_has_an_example_that_c_can_write(vectors):
    shown = [v.value for v in vectors if not v.reject and is_of_this_version(v.value)]
    assert {value["message"] for value in shown} == FROM_HEAD | FROM_HOST


def test_writes_each_example_of_a_head(accepted, head_in_c):
    if accepted.value["message"] in FROM_HEAD and is_of_this_version(accepted.value):
        body = head_in_c.body(accepted.value)
        assert head_in_c.frame(body).hex(" ") == accepted.frame.hex(" ")


def test_wraps_the_body_of_each_example(accepted, head_in_c):
    body = body_in(accepted.frame)
    assert head_in_c.frame(body) == accepted.frame
    assert head_in_c.frame_to_sink(body) == (accepted.frame, len(accepted.frame))


def test_reads_each_example_of_a_host_and_nothing_else(accepted, head_in_c):
    stream = head_in_c.receiver()
    is_request = accepted.value["message"] in FROM_HOST
    said = {key: item for key, item in accepted.value.items() if key != "more"}
    assert stream.feed(b"\0" + accepted.frame) == ([said] if is_request else [])
    assert stream.rejected == (0 if is_request else 1)
    assert head_in_c.read(body_in(accepted.frame)) == (said if is_request else None)


def test_drops_and_counts_each_reject_frame(rejected, head_in_c):
    stream = head_in_c.receiver()
    assert stream.feed(b"\0" + rejected.frame) == []
    assert stream.rejected == 1


def test_finds_each_wrong_bit_in_what_a_host_says(accepted, head_in_c):
    if accepted.value["message"] not in FROM_HOST:
        return
    good = bytes.fromhex("02 B3 02 07 05 AF A8 C2 61 00")
    for bit in range(len(accepted.frame) * 8):
        damaged = bytearray(accepted.frame)
        damaged[bit >> 3] ^= 1 << (bit & 7)
        found = head_in_c.receiver().feed(b"\0" + bytes(damaged) + b"\0" + good)
        assert found == [{"message": "ping", "ping_id": 7}], f"bit {bit}"
