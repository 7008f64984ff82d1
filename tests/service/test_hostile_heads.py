"""Heads that lie, flood or fall over: counted, named, and no affair of the other heads."""

from dataclasses import dataclass, replace

import pytest

from ingest.core.blocks import NO_VALUE
from ingest.core.channels import CHANNELS
from ingest.core.errors import LinkSilent
from ingest.core.frames import Side
from ingest.core.ids import BootId, HeadId
from ingest.service.bayhead import Wheel
from ingest.service.flood import BURST_S, BYTES_PER_S, FloodGate
from ingest.service.linkkeeper import LinkChange, LinkState
from ingest.simulator.vehicle import WheelAt
from ingest.wire.codes import EventCode, StatusBit, status_byte
from ingest.wire.framing import frame
from ingest.wire.hello import ChannelInfo, Hello
from ingest.wire.messages import encode
from ingest.wire.reports import Event, Status
from ingest.wire.sample import encode_sample

LIAR = HeadId("00000000000bad01")
HONEST = ("alder", "birch", "cedar")
SECONDS = 11


@dataclass
class Liar:
    """A head that says one thing and does another, to be put in the place of a sound one."""

    says_hz: float = 100.0
    sends_hz: float = 100.0
    range_codes: int = 900_000
    code: int = 1234
    seq_step: int = 1
    jump_at_s: float = 1e9
    pace: float = 1.0
    resets_every_s: float = 1e9
    more: bytes = b""
    """Sent four times a second beside the samples."""
    identity: HeadId = LIAR
    version: tuple[int, int] = (1, 0)
    boot_id: int = 8
    seq: int = 0
    sent_s: float = 0.0
    booted_s: float = 0.0

    def hello(self):
        high = self.range_codes
        channels = tuple(
            ChannelInfo.of(c, rate_dhz=round(self.says_hz * 10), low=-high, high=high)
            for c in CHANNELS[:4]
        )
        rate_dhz, boot = round(self.says_hz * 10), BootId(self.boot_id)
        hello = Hello(self.identity, boot, "6.6.6", rate_dhz=rate_dhz, channels=channels)
        return replace(hello, major=self.version[0], minor=self.version[1])

    def receive(self, data, now_s):
        return frame(encode(self.hello()))

    def run(self, now_s):
        out = b""
        if now_s - self.booted_s >= self.resets_every_s:
            self.boot_id, self.booted_s = self.boot_id + 1, now_s
            out = b"\0" + frame(encode(self.hello()))
        status = status_byte(BootId(self.boot_id))
        while self.sent_s < now_s:
            self.sent_s += 1.0 / self.sends_hz
            t_us = round(
                (self.sent_s * self.pace + (500.0 if self.sent_s > self.jump_at_s else 0.0)) * 1e6
            )
            body = encode_sample(0, status, self.seq, t_us, (self.code,) * 4)
            self.seq += self.seq_step
            out += frame(body)
        return out + self.more


def lying_samples(size):
    """Return so many bytes of sound samples of the liar, the same again and again."""
    one = frame(encode_sample(0, status_byte(BootId(8)), 7, 9_000_000, (1, 2, 3, 4)))
    return one * (size // len(one))


def played(simulated_bay, liar):
    """Turn a wheel with an honest head while the last head is the liar; None: is honest too."""
    bay = simulated_bay(41)
    if liar is not None:
        bay.demo.ptys["dogwood"].firmware = liar
        bay.give("dogwood", b"\0" + frame(encode(liar.hello())))
    for name, side in (("alder", Side.LEFT), ("birch", Side.RIGHT)):
        bay.demo.technician.mount(bay.demo.heads[name], WheelAt(1, side))
        bay.bay.put_on(bay.head(name), Wheel(1, side))
    bay.bay.work.begin(bay.head("alder"))
    bay.demo.technician.through(WheelAt(1, Side.LEFT))
    for second in range(SECONDS):
        bay.advance(1.0)
        bay.bay.tick(1.0)
        if second == 8:
            assert bay.bay.work.end(bay.head("alder")).ok
    return bay


def of_the_honest(bay):
    roots = tuple(f"{bay.topics.root}/head/{name}/" for name in HONEST)
    own = (*roots, f"{bay.topics.root}/axle/")
    return [message for message in bay.outlet.messages if message[0].startswith(own)]


def alerts(bay):
    root = f"{bay.topics.root}/svc/alert/"
    found = {t.removeprefix(root): m for t, m in bay.outlet.retained.items() if t.startswith(root)}
    return {code: m for code, m in found.items() if not code.startswith("record-")}


@pytest.fixture(scope="module")
def undisturbed():
    """What is said of the other heads in honest company, once it was asked for."""
    return {}


def expect(undisturbed, simulated_bay):
    if not undisturbed:
        bay = played(simulated_bay, None)
        assert alerts(bay) == {}
        undisturbed["said"] = of_the_honest(bay)
        assert len(undisturbed["said"]) > 200
    return undisturbed["said"]


LIES = {
    "too slow": (Liar(sends_hz=50.0), "rate-4", "fewer"),
    "too fast": (Liar(sends_hz=400.0), "rate-4", "more"),
    "out of range": (Liar(range_codes=1000), "range-4", "outside the range"),
    "flood of samples": (Liar(more=lying_samples(500_000)), "flood-4", "more than any head"),
    "flood of garbage": (Liar(more=bytes(range(256)) * 2000), "flood-4", "more than any head"),
    "endless frame": (Liar(more=b"\x55" * 500_000), "flood-4", "more than any head"),
    "resets": (Liar(resets_every_s=2.0), "resets-4", "again and again"),
    "clock": (Liar(jump_at_s=8.0), "order-4", "clock jump"),
    "same number": (Liar(seq_step=0), "order-4", "do not follow"),
}


@pytest.mark.parametrize("lie", LIES)
def test_a_lie_is_named_and_is_the_liars_own_affair(simulated_bay, undisturbed, lie):
    liar, code, words = LIES[lie]
    honest = expect(undisturbed, simulated_bay)
    bay = played(simulated_bay, replace(liar))
    found = alerts(bay)
    assert code in found
    assert words in found[code]["text"]
    assert found[code]["head"] == bay.bay.slots["dogwood"].head.name
    assert found[code]["head"] in found[code]["text"]
    assert of_the_honest(bay) == honest


def test_what_a_liar_does_is_counted_on_its_link(simulated_bay):
    for lie, field_name in (
        (LIES["out of range"][0], "stray"),
        (LIES["flood of garbage"][0], "flood"),
        (LIES["clock"][0], "jumps"),
    ):
        bay = played(simulated_bay, replace(lie))
        name = bay.bay.slots["dogwood"].head.name
        assert bay.outlet.retained[bay.topics.head_link(name)][field_name] > 0
        assert bay.outlet.retained[bay.topics.head_link("alder")][field_name] == 0


def test_a_number_that_stands_still_is_not_taken_for_losses(simulated_bay):
    bay = played(simulated_bay, replace(LIES["same number"][0]))
    assert bay.bay.slots["dogwood"].counters.lost == 0


def test_an_alert_is_over_when_the_head_does_as_it_says(simulated_bay):
    bay = played(simulated_bay, Liar(sends_hz=50.0))
    assert "rate-4" in alerts(bay)
    bay.demo.ptys["dogwood"].firmware.sends_hz = 100.0
    for _ in range(7):
        bay.advance(1.0)
        bay.bay.tick(1.0)
    assert alerts(bay) == {}


def test_a_head_that_answers_for_another_is_named_and_not_heard(simulated_bay, undisturbed):
    honest = expect(undisturbed, simulated_bay)
    bay = simulated_bay(41)
    twin = Liar(identity=bay.head("alder").id)
    bay = played(simulated_bay, twin)
    assert "answers as" in alerts(bay)["head-4"]["text"]
    assert bay.bay.slots["dogwood"].head is None
    assert of_the_honest(bay) == honest


class Mute(Liar):
    """Sends sound samples and never says whose they are."""

    def receive(self, data, now_s):
        return b""


def test_a_head_that_never_says_who_it_is_is_named_by_its_link(simulated_bay):
    bay = simulated_bay(41)
    bay.demo.ptys["dogwood"].firmware = mute = Mute()
    bay.bay.link_changed("dogwood", LinkChange(LinkState.OPEN, None))

    def seconds(count):
        for _ in range(count):
            bay.advance(1.0)
            bay.bay.tick(1.0)

    seconds(3)
    assert "nameless-4" not in alerts(bay)  # a board that restarts may take that long
    seconds(1)
    said = alerts(bay)["nameless-4"]["text"]
    assert said.startswith("dogwood: sound messages come (")
    assert said.endswith("the line carries both ways")
    bay.give("dogwood", frame(encode(mute.hello())))
    seconds(1)
    assert "nameless-4" not in alerts(bay)


def seconds(bay, count):
    for _ in range(count):
        bay.advance(1.0)
        bay.bay.tick(1.0)


class Mismarked(Liar):
    """Answers with its hello once a second; its samples bear the mark of another start."""

    def receive(self, data, now_s):
        return b""

    def run(self, now_s):
        self.boot_id = 9
        out = super().run(now_s)
        self.boot_id = 8
        return frame(encode(self.hello())) + out if int(now_s * 4) % 4 == 0 else out


def test_messages_of_another_boot_mark_are_named_and_counted(simulated_bay):
    bay = simulated_bay(41)
    bay.demo.ptys["dogwood"].firmware = Mismarked()
    bay.bay.link_changed("dogwood", LinkChange(LinkState.OPEN, None))
    seconds(bay, 6)
    said = alerts(bay)["nameless-4"]["text"]
    assert "another boot mark than its hello" in said
    slot = bay.bay.slots["dogwood"]
    assert slot.counters.strangers >= 5
    assert bay.outlet.retained[bay.topics.head_link(slot.head.name)]["orphan"] > 100


def test_a_hello_that_is_dropped_is_named_with_its_reason(simulated_bay):
    bay = simulated_bay(41)
    bay.demo.ptys["dogwood"].firmware = Mute()
    bay.bay.link_changed("dogwood", LinkChange(LinkState.OPEN, None))
    bad = bytearray(encode(Mute().hello()))
    bad[16] = 0x1B  # an escape in the firmware's text
    for _ in range(5):
        bay.give("dogwood", frame(bytes(bad)))
        seconds(bay, 1)
    assert (
        "its hello is dropped (firmware text not printable ASCII"
        in alerts(bay)["nameless-4"]["text"]
    )


def test_a_head_of_a_newer_major_version_has_one_alert(simulated_bay):
    bay = played(simulated_bay, Liar(version=(2, 0)))
    assert set(alerts(bay)) == {"head-4"}


class Lossy(Liar):
    """Its line eats every fifth sample."""

    def run(self, now_s):
        sent = super().run(now_s).split(b"\0")
        return b"\0".join(each for at, each in enumerate(sent) if at % 5 or not each)


def test_a_line_that_loses_samples_is_named_once(simulated_bay):
    bay = played(simulated_bay, Lossy())
    found = alerts(bay)
    assert set(found) == {"loss-4"}
    assert (
        "loses more than 5% of its samples on their way, mostly missing" in found["loss-4"]["text"]
    )
    seconds(bay, 5)
    said = [topic for topic, *_ in bay.outlet.messages if topic.endswith("/svc/alert/loss-4")]
    assert len(said) == 1


@pytest.mark.parametrize(("pace", "way"), [(1.05, "fast"), (0.999, "slow"), (1.003, "fast")])
def test_a_clock_far_off_is_named(simulated_bay, pace, way):
    bay = simulated_bay(41)
    bay.demo.ptys["dogwood"].firmware = liar = Liar(pace=pace, sent_s=bay.clock())
    bay.give("dogwood", b"\0" + frame(encode(liar.hello())))
    seconds(bay, 45)
    assert f"runs {way} by 200 ppm or more" in alerts(bay)["clock-4"]["text"]


def joined(simulated_bay, liar, count):
    """Put the liar in the place of dogwood for so many seconds, from its start on."""
    bay = simulated_bay(41)
    liar.sent_s = bay.clock()
    bay.demo.ptys["dogwood"].firmware = liar
    bay.give("dogwood", b"\0" + frame(encode(liar.hello())))
    seconds(bay, count)
    return bay


def test_times_in_another_unit_are_named(simulated_bay):
    bay = joined(simulated_bay, Liar(pace=1e-3), 6)
    assert "a sample takes 10000 of them, not 10" in alerts(bay)["step-4"]["text"]


def test_a_channel_that_never_gives_a_value_is_named(simulated_bay):
    bay = joined(simulated_bay, Liar(code=NO_VALUE), 7)
    text = alerts(bay)["silent-4"]["text"]
    assert "gives no value on incl_x, incl_y, rotation, which it declares" in text


def test_a_head_whose_channels_cannot_be_used_gives_nothing_and_is_told_why(simulated_bay):
    class Radians(Liar):
        def hello(self):
            hello = super().hello()
            return replace(hello, channels=tuple(replace(c, unit=0x2720) for c in hello.channels))

    found = alerts(joined(simulated_bay, Radians(), 3))
    (alert,) = [each for code, each in found.items() if code.startswith("channels-")]
    assert alert["level"] == "warning"
    assert "gives nothing" in alert["text"]
    assert "0: unit 0x2720 for 0x2763" in alert["text"]


class Spoiled(Mute):
    """Nothing that it sends is sound."""

    def run(self, now_s):
        return self.more


def test_a_line_on_which_no_frame_is_sound_is_told_with_what_came(simulated_bay):
    bay = simulated_bay(41)
    bay.bay.link_changed("dogwood", LinkChange(LinkState.OPEN, None))
    sample = encode_sample(0, status_byte(BootId(8)), 7, 9_000_000, (1, 2, 3, 4))
    spoiled = frame(sample).replace(frame(sample)[-4:-1], b"\x77\x77\x77")
    bay.demo.ptys["dogwood"].firmware = Spoiled(more=spoiled * 10)
    seconds(bay, 3)
    silent = LinkSilent("dogwood", "nothing valid for more than 2 s")
    bay.bay.link_changed("dogwood", LinkChange(LinkState.SILENT, silent))
    text = alerts(bay)["link-4"]["text"]
    assert "no sound frame; " in text
    assert "failed their CRC" in text


def status_of(flags):
    byte = status_byte(BootId(8), flags)
    return Status(byte, 1, None, None, 3, 0, 0)


def test_a_head_that_distrusts_its_sensor_is_named(simulated_bay):
    bay = played(simulated_bay, Liar())
    assert alerts(bay) == {}
    bay.give("dogwood", frame(encode(status_of(StatusBit.SENSOR_FAULT))))
    bay.advance(1.0)
    bay.bay.tick(1.0)
    found = alerts(bay)["sensor-4"]
    assert found["head"] == bay.bay.slots["dogwood"].head.name
    assert "a sensor of its own fails" in found["text"]
    bay.give("dogwood", frame(encode(status_of(0))))
    bay.advance(1.0)
    bay.bay.tick(1.0)
    assert alerts(bay) == {}


def test_a_button_that_chatters_is_one_press(simulated_bay):
    bay = played(simulated_bay, Liar())

    def presses(numbers):
        for number in numbers:
            event = Event(status_byte(BootId(8)), number, 1, EventCode.TAKE_STOP, number)
            bay.give("dogwood", frame(encode(event)))
        return sum("/evt/stop" in topic for topic, *_ in bay.outlet.messages)

    before = presses([])
    assert presses(range(1, 120)) == before + 1
    bay.advance(0.5)
    assert presses([120]) == before + 2


def test_a_newer_minor_version_works_and_a_newer_major_is_refused_by_name(simulated_bay):
    newer = played(simulated_bay, Liar(version=(1, 7)))
    assert alerts(newer) == {}
    assert newer.bay.slots["dogwood"].head.id == LIAR
    other = played(simulated_bay, Liar(version=(2, 0)))
    assert other.bay.slots["dogwood"].head is None
    assert LIAR in alerts(other)["head-4"]["text"]
    assert "version 2.0" in alerts(other)["head-4"]["text"]


def test_a_clock_that_jumps_in_a_turn_refuses_it(simulated_bay):
    bay = simulated_bay(41)
    bay.demo.technician.mount(bay.demo.heads["alder"], WheelAt(1, Side.LEFT))
    bay.bay.put_on(bay.head("alder"), Wheel(1, Side.LEFT))
    bay.advance(2.0)
    bay.bay.work.begin(bay.head("alder"))
    bay.demo.ptys["dogwood"].firmware = Liar()
    bay.advance(1.0)
    firmware = bay.demo.ptys["alder"].firmware
    clockwork = firmware._clockwork
    firmware._clockwork = replace(clockwork, start_us=clockwork.start_us + 900_000_000)
    firmware._catch_up(bay.clock())
    bay.advance(2.0)
    said = bay.outlet.retained[bay.topics.head_runout("alder")]
    assert (said["state"], said["why"]) == ("refused", "clock-jump")


def test_a_gate_lets_through_what_heads_say_and_what_has_gathered():
    gate, at_ns = FloodGate(), 0
    for _ in range(2000):
        at_ns += 10**8
        assert gate.admits(5400, at_ns)  # 1000 samples a second, all sets, a tenth of a second's
    assert gate.admits(200_000, at_ns)


def test_a_gate_bounds_what_a_flood_brings():
    gate, passed, at_ns = FloodGate(), 0, 0
    for _ in range(10_000):
        at_ns += 10**6
        passed += 4096 * gate.admits(4096, at_ns)
    assert passed <= BYTES_PER_S * (10.0 + BURST_S)
    assert passed > BYTES_PER_S * 9.0


def test_a_line_that_stays_bad_is_said_once(simulated_bay):
    """Each time that it is opened anew other counts stand; the words are the same."""
    bay = simulated_bay(41)
    sample = encode_sample(0, status_byte(BootId(8)), 7, 9_000_000, (1, 2, 3, 4))
    spoiled = frame(sample).replace(frame(sample)[-4:-1], b"\x77\x77\x77")
    bay.demo.ptys["dogwood"].firmware = Spoiled(more=spoiled * 10)
    silent = LinkSilent("dogwood", "nothing valid for more than 2 s")
    bay.bay.link_changed("dogwood", LinkChange(LinkState.OPEN, None))
    for round_seconds in (3, 5):
        seconds(bay, round_seconds)
        bay.bay.link_changed("dogwood", LinkChange(LinkState.SILENT, silent))
    said = [topic for topic, *_ in bay.outlet.messages if topic.endswith("/svc/alert/link-4")]
    assert len(said) == 1
    assert "failed their CRC" in alerts(bay)["link-4"]["text"]
