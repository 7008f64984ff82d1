"""A serial link on real ptys and sockets, well behaved and hostile."""

import asyncio
import os
import random
import stat
import threading

import pytest
import serial

from ingest.core.errors import LinkBusy, LinkDenied, LinkLost, LinkNotFound, LinkTimeout
from ingest.drivers import serial as serial_module

EVERY_BYTE = bytes(range(256))
NOBODY = 65534
"""The user id that owns nothing, by common practice of Linux systems."""


def open_files():
    return len(os.listdir("/proc/self/fd"))


def joined(chunks):
    return b"".join(chunk.data for chunk in chunks)


def test_every_byte_value_passes_both_ways(run, far, link_to, receive):
    """A terminal would act on 0x03, 0x0d, 0x11, 0x13 and 0x7f; a serial line must not."""

    async def main():
        link = link_to(far)
        await link.open()
        far.say(EVERY_BYTE)
        assert joined(await receive(link, 256)) == EVERY_BYTE
        await link.send(EVERY_BYTE)
        heard = b""
        while len(heard) < 256:
            heard += await asyncio.to_thread(far.hear, 256)
        assert heard == EVERY_BYTE
        await link.close()

    run(main())


def test_a_line_that_gives_one_byte_at_a_time_loses_none(run, far, link_to, receive):
    async def dribble():
        for byte in EVERY_BYTE:
            far.say(bytes([byte]))
            await asyncio.sleep(0)

    async def main():
        link = link_to(far)
        await link.open()
        saying = asyncio.create_task(dribble())
        assert joined(await receive(link, 256)) == EVERY_BYTE
        await saying
        await link.close()

    run(main())


def test_pieces_of_any_size_at_any_time_arrive_whole_and_stamped_in_order(
    run, far, link_to, receive
):
    dice = random.Random(7)
    pieces = [dice.randbytes(dice.randint(1, 90)) for _ in range(60)]

    async def speak():
        for piece in pieces:
            far.say(piece)
            await asyncio.sleep(dice.choice((0.0, 0.001, 0.008, 0.03)))

    async def main():
        link = link_to(far)
        await link.open()
        saying = asyncio.create_task(speak())
        chunks = await receive(link, sum(map(len, pieces)))
        assert joined(chunks) == b"".join(pieces)
        stamps = [chunk.arrived_ns for chunk in chunks]
        assert stamps == sorted(stamps)
        await saying
        await link.close()

    run(main())


def test_stamps_an_arrival_between_the_writing_and_the_taking(run, far, link_to, receive):
    async def main():
        link = link_to(far)
        clock = link._clock
        await link.open()
        for _ in range(5):
            wrote_ns = clock()
            far.say(b"x")
            (chunk,) = await receive(link, 1)
            assert wrote_ns <= chunk.arrived_ns <= clock()
        await link.close()

    run(main())


def test_a_line_that_goes_away_is_lost_once_what_it_said_is_taken(run, far, link_to, receive):
    async def main():
        link = link_to(far)
        await link.open()
        far.say(b"last words")
        await receive(link, 10)
        far.vanish()
        for _ in range(2):
            with pytest.raises(LinkLost):
                await receive(link, 1)
        await link.close()

    run(main())


def test_a_closed_link_says_so_to_all_who_use_it(run, far, link_to, receive):
    async def main():
        link = link_to(far)
        with pytest.raises(LinkLost, match="not open"):
            await link.send(b"x")
        await link.close()
        await link.open()
        taking = asyncio.create_task(receive(link, 1))
        await asyncio.sleep(0)
        await link.close()
        await link.close()
        with pytest.raises(LinkLost, match="closed"):
            await taking
        with pytest.raises(LinkLost, match="not open"):
            await link.send(b"x")

    run(main())


def test_opens_again_after_it_closed_with_nothing_of_the_last_session(
    run, far_pty, link_to, receive
):
    async def main():
        link = link_to(far_pty)
        await link.open()
        far_pty.say(b"old")
        await asyncio.sleep(0.01)
        await link.close()
        await link.open()
        far_pty.say(b"new")
        assert joined(await receive(link, 3)) == b"new"
        assert link.dropped == 1
        await link.close()

    run(main())


def test_a_port_that_comes_back_is_opened_by_its_path(run, far_pty, link_to, receive):
    async def main():
        link = link_to(far_pty)
        for word in (b"one", b"two", b"six"):
            await link.open()
            far_pty.say(word)
            assert joined(await receive(link, 3)) == word
            far_pty.vanish()
            with pytest.raises(LinkLost):
                await receive(link, 1)
            await link.close()
            with pytest.raises(LinkNotFound, match="no such port"):
                await link.open()
            far_pty.appear()

    run(main())


def test_unplugging_for_ever_leaks_no_handle_and_no_thread(run, far_pty, link_to, receive):
    async def main():
        link = link_to(far_pty)
        counts = []
        for _ in range(6):
            await link.open()
            far_pty.vanish()
            with pytest.raises(LinkLost):
                await receive(link, 1)
            await link.close()
            with pytest.raises(LinkNotFound):
                await link.open()
            for thread in threading.enumerate():
                if thread.name.endswith(far_pty.path):
                    thread.join(5.0)
            counts.append((open_files(), threading.active_count()))
            far_pty.appear()
        assert max(counts[1:]) <= counts[0]

    run(main())


def test_a_dead_port_does_not_spin(run, far_pty, link_to, receive, monkeypatch):
    """An unplugged terminal reports ready for ever; it must be read once, not for ever."""
    reads = []

    def counted(fd, size, real=os.read):
        reads.append(fd)
        return real(fd, size)

    async def main():
        link = link_to(far_pty)
        await link.open()
        far_pty.vanish()
        monkeypatch.setattr("ingest.drivers.serial_fd.os.read", counted)
        with pytest.raises(LinkLost):
            await receive(link, 1)
        await asyncio.sleep(0.05)
        assert len(reads) == 1
        await link.close()

    run(main())


def test_a_second_opener_is_refused_until_the_first_has_closed(run, far_pty, link_to):
    async def main():
        first, second = link_to(far_pty), link_to(far_pty)
        await first.open()
        with pytest.raises(LinkBusy) as caught:
            await second.open()
        assert str(caught.value) == f"{far_pty.path}: another program holds the port"
        await second.close()
        await first.close()
        await second.open()
        await second.close()

    run(main())


def test_a_refused_second_opener_does_not_disturb_the_first(run, far_pty, link_to, receive):
    async def main():
        first, second = link_to(far_pty), link_to(far_pty, baud=9600)
        await first.open()
        with pytest.raises(LinkBusy):
            await second.open()
        far_pty.say(EVERY_BYTE)
        assert joined(await receive(first, 256)) == EVERY_BYTE
        await first.close()

    run(main())


def test_a_forbidden_port_is_told_from_a_missing_one(run, far_pty, link_to):
    device = os.path.realpath(far_pty.path)
    mode = stat.S_IMODE(os.stat(device).st_mode)

    async def main():
        link = link_to(device)
        with pytest.raises(LinkDenied) as caught:
            await link.open()
        assert str(caught.value).startswith(f"{device}: permission is missing")
        assert not caught.value.retryable

    user = os.geteuid()
    os.chmod(device, 0)
    if user == 0:  # to whom nothing is forbidden
        os.seteuid(NOBODY)
    try:
        run(main())
    finally:
        os.seteuid(user)
        os.chmod(device, mode)


def test_a_missing_port_is_not_found(run, link_to, tmp_path):
    async def main():
        link = link_to(str(tmp_path / "none"))
        with pytest.raises(LinkNotFound) as caught:
            await link.open()
        assert str(caught.value) == f"{tmp_path}/none: there is no such port now"
        assert caught.value.retryable
        await link.close()

    run(main())


def test_a_file_that_is_no_port_is_refused_in_one_line(run, link_to, tmp_path):
    path = tmp_path / "file"
    path.write_text("no port")

    async def main():
        with pytest.raises(LinkNotFound, match="ioctl"):
            await link_to(str(path)).open()

    run(main())


def test_a_server_that_is_not_there_is_not_found(run, far_tcp, link_to):
    async def main():
        far_tcp.server.close()
        with pytest.raises(LinkNotFound, match="connection refused"):
            await link_to(far_tcp).open()

    run(main())


def test_a_port_that_hangs_while_opening_leaves_the_loop_free(
    run, far_pty, link_to, receive, monkeypatch
):
    """Another link opens, hears and sends meanwhile; the hanging one meets its deadline."""
    go_on = threading.Event()
    real = serial.serial_for_url

    def hanging(device, **settings):
        if device == "/dev/hanging":
            go_on.wait(5.0)
        return real(device, **settings)

    monkeypatch.setattr(serial_module.serial, "serial_for_url", hanging)

    async def main():
        stuck = link_to("/dev/hanging", open_timeout_s=0.3)
        opening = asyncio.create_task(stuck.open())
        link = link_to(far_pty)
        await link.open()
        far_pty.say(b"here")
        assert joined(await receive(link, 4)) == b"here"
        await link.send(b"there")
        assert not opening.done()
        with pytest.raises(LinkTimeout, match=r"did not open within 0\.3 s"):
            await opening
        go_on.set()
        await link.close()

    run(main())


def test_a_port_that_opens_after_the_caller_has_gone_is_closed_again(
    run, far_pty, link_to, monkeypatch
):
    go_on = threading.Event()
    real = serial.serial_for_url

    def slow(device, **settings):
        go_on.wait(5.0)
        return real(device, **settings)

    monkeypatch.setattr(serial_module.serial, "serial_for_url", slow)

    async def main():
        link = link_to(far_pty)
        opening = asyncio.create_task(link.open())
        await asyncio.sleep(0.01)
        opening.cancel()
        await asyncio.wait({opening})
        go_on.set()
        await link.open()  # would be busy with itself
        await link.close()

    run(main())


def test_a_far_end_that_does_not_read_ends_a_send_at_its_deadline(run, far_pty, link_to):
    async def main():
        link = link_to(far_pty, send_timeout_s=0.1)
        await link.open()
        for _ in range(2):
            with pytest.raises(LinkTimeout, match=r"took no bytes for 0\.1 s"):
                await link.send(bytes(100_000))
        os.set_blocking(far_pty.fd, False)
        heard = 0
        sending = None
        while sending is None or not sending.done():
            try:
                heard += len(far_pty.hear(4096))
            except BlockingIOError:
                sending = sending or asyncio.create_task(link.send(b"again"))
                await asyncio.sleep(0.001)
        await sending
        await link.close()

    run(main())


def test_sends_at_one_time_are_not_mixed(run, far_pty, link_to):
    async def main():
        link = link_to(far_pty)
        await link.open()
        words = [bytes([letter]) * 20_000 for letter in b"abc"]
        sending = asyncio.gather(*(link.send(word) for word in words))
        heard = b""
        while len(heard) < 60_000:
            heard += await asyncio.to_thread(far_pty.hear, 4096)
        await sending
        assert heard == b"".join(words)
        await link.close()

    run(main())


def test_closing_ends_a_send_that_waits(run, far_pty, link_to):
    async def main():
        link = link_to(far_pty, send_timeout_s=5.0)
        await link.open()
        sending = asyncio.create_task(link.send(bytes(100_000)))
        await asyncio.sleep(0.01)
        await link.close()
        with pytest.raises(LinkLost, match="closed"):
            await sending

    run(main())


def test_a_send_to_a_port_that_went_away_loses_the_link(run, far_pty, link_to, receive):
    async def main():
        link = link_to(far_pty)
        await link.open()
        far_pty.vanish()
        with pytest.raises(LinkLost):
            await link.send(b"x")
        with pytest.raises(LinkLost):
            await receive(link, 1)
        await link.close()

    run(main())


def test_what_nobody_takes_is_dropped_and_counted(run, far_pty, link_to, receive, monkeypatch):
    monkeypatch.setattr(serial_module, "QUEUE_CHUNKS", 4)

    async def main():
        link = link_to(far_pty, hold_s=0.0)
        await link.open()
        for letter in b"abcdefg":
            far_pty.say(bytes([letter]))
            await asyncio.sleep(0.005)
        chunks = await receive(link, 4)
        assert joined(chunks) == b"defg"
        assert link.dropped == 3
        await link.close()

    run(main())


def test_a_closing_that_hangs_is_left_behind_and_said(run, far_pty, link_to, caplog, monkeypatch):
    go_on = threading.Event()

    async def main():
        link = link_to(far_pty, close_timeout_s=0.1)
        await link.open()
        port = link._port
        real = port.close
        monkeypatch.setattr(port, "close", lambda: (go_on.wait(5.0), real()))
        await link.close()
        assert "not closed within 0.1 s" in caplog.text
        go_on.set()
        await link.open()
        await link.close()

    run(main())


@pytest.mark.parametrize(
    "wrong",
    [{"baud": 0}, {"baud": 299}, {"hold_s": -0.1}, {"hold_s": 0.6}, {"port": "usb:"}],
)
def test_refuses_settings_that_cannot_be(wrong):
    with pytest.raises(ValueError, match=r"must be"):
        serial_module.SerialSettings(**{"port": "/dev/ttyUSB0"} | wrong)
