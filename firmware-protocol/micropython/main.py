"""A head with made-up readings. Change what stands under "this board"; the rest can stay."""

import math
import os
import time

import levelhead as lh
import levelhead_link as link

FIRMWARE = "example 1.0"
RATES = (10, 50, 100, 200, 500)  # tenths of a hertz that this head samples at exactly

# the channels that read_sensor() gives, with the ends of their ranges
CHANNELS = (
    (lh.INCL_X, -300000, 300000),
    (lh.INCL_Y, -300000, 300000),
    (lh.ROTATION, -1800000, 1799999),
)


class Head:
    """Everything that the protocol wants of a head on a byte link, but for the hardware.

    write(bytes) gives the number of bytes that went out, now_us() the time as u32,
    read_sensor(t_us) eight codes in the order of the channels, None for those there are not,
    show(True or False) the lamp. A read_sensor that raises OSError counts as a sensor error.
    """

    def __init__(self, write, now_us, read_sensor, show, identity, boot):
        self.write = write
        self.now_us = now_us
        self.read_sensor = read_sensor
        self.show = show
        self.identity = identity
        self.boot = boot
        self.receiver = link.Receiver()
        self.rate_dhz = 100
        self.streaming = True
        self.locked = False
        self.fault = False
        self.both_sets = any(channel >= lh.AZIMUTH_TRACK for channel, _, _ in CHANNELS)
        self.seq = 65535  # of the newest sample; the first one has 0
        self.sensor_errors = 0
        self.samples_dropped = 0
        self.events = 0
        self.again = None  # an event that is to be sent a second time
        self.pressed_us = None
        self.lit = False
        self.cut = True  # what went out last was not a whole frame

    def start(self):
        self.say_hello()
        self.say_status()
        self.next_us = self.now_us()

    def tick(self, received=b""):
        """Call it all the time, with what came in: at least every few milliseconds."""
        came_us = self.now_us()
        for message in self.receiver.feed(received):
            if message[0] == "ping":
                self.send(lh.pong(self.mark(), message[1], came_us, self.now_us()))
            else:
                self.obey(message[1], message[2], message[3])
        now = self.now_us()
        if since(now, self.hello_us) >= 4000000:
            self.say_hello()
        if since(now, self.status_us) >= 8000000 or self.mark() != self.status_mark:
            self.say_status()
        if self.again and since(now, self.pressed_us) >= 30000:
            self.send(self.again)
            self.again = None
        if self.lit and since(now, self.lit_us) >= self.lit_for_us:
            self.lit = False
            self.show(False)
        if self.streaming:
            self.stream()

    def stream(self):
        period = 10000000 // self.rate_dhz
        late = since(self.now_us(), self.next_us)
        if late >= 0x80000000:  # it is not yet time
            return
        missed = late // period
        self.seq += missed + 1
        self.samples_dropped += missed
        self.next_us = (self.next_us + (missed + 1) * period) & 0xFFFFFFFF
        t_us = self.now_us()
        try:
            codes = self.read_sensor(t_us)
        except OSError:
            self.sensor_errors += 1
            codes = (None,) * 8
        sent = self.send(lh.sample(0, self.mark(), self.seq, t_us, codes[:4]))
        if self.both_sets:
            sent = self.send(lh.sample(1, self.mark(), self.seq, t_us, codes[4:])) and sent
        if not sent:
            self.samples_dropped += 1

    def press(self):
        """The button was pressed; call it as often as it bounces."""
        now = self.now_us()
        if self.pressed_us is not None and since(now, self.pressed_us) < 300000:
            return
        self.pressed_us = now
        self.again = lh.event(self.mark(), self.seq, now, self.events)
        self.events += 1
        self.send(self.again)

    def obey(self, op, command_id, value):
        in_force = 0
        if op == lh.IDENTIFY:
            in_force = min(max(value, 1), 600)
            if in_force == value:
                self.lit = True
                self.lit_us = self.now_us()
                self.lit_for_us = value * 100000
                self.show(True)
        elif op == lh.RATE:
            in_force = min(RATES, key=lambda rate: abs(rate - value))
            if in_force == value != self.rate_dhz:
                self.rate_dhz = value
                self.next_us = self.now_us()
        elif op == lh.START:
            if not self.streaming:
                self.streaming = True
                self.next_us = self.now_us()
        elif op == lh.STOP:
            self.streaming = False
        elif op != lh.SAY_HELLO:
            self.send(lh.refusal(self.mark(), command_id, op, lh.UNKNOWN_COMMAND))
            return
        if op in (lh.IDENTIFY, lh.RATE) and in_force != value:
            self.send(lh.refusal(self.mark(), command_id, op, lh.NOT_POSSIBLE, in_force))
            return
        if op != lh.IDENTIFY:  # also when nothing changed: the first hello may have been lost
            self.say_hello()
        self.send(lh.ack(self.mark(), command_id, op, in_force))

    def mark(self):
        return lh.status_byte(self.boot, self.locked, self.fault)

    def say_hello(self):
        self.hello_us = self.now_us()
        entries = [lh.entry(channel, self.rate_dhz, low, high) for channel, low, high in CHANNELS]
        body = lh.hello(self.identity, self.boot, FIRMWARE, self.rate_dhz, self.streaming, entries)
        self.send(body)

    def say_status(self):
        self.status_us = self.now_us()
        self.status_mark = self.mark()
        body = lh.status(
            self.status_mark,
            self.status_us,
            sensor_errors=self.sensor_errors,
            samples_dropped=self.samples_dropped,
            frames_rejected=self.receiver.rejected,
        )
        self.send(body)

    def send(self, body):
        data = link.frame(body)
        if self.cut:
            data = link.DELIMITER + data
        self.cut = self.write(data) != len(data)
        return not self.cut


def since(now, then):
    return (now - then) & 0xFFFFFFFF


class Clock:
    """Microseconds as u32. ticks_us wraps far earlier; call it at least every few minutes."""

    def __init__(self):
        self.ticks = time.ticks_us()
        self.us = 0

    def __call__(self):
        ticks = time.ticks_us()
        self.us = (self.us + time.ticks_diff(ticks, self.ticks)) & 0xFFFFFFFF
        self.ticks = ticks
        return self.us


def next_boot(name="boot.txt"):
    """One more than last time; a random number where that is not known."""
    try:
        with open(name) as file:
            boot = (int(file.read()) + 1) & 0xFFFFFFFF
    except (OSError, ValueError):
        boot = int.from_bytes(os.urandom(4), "little")
    try:
        with open(name + ".new", "w") as file:
            file.write(str(boot))
        os.rename(name + ".new", name)
    except OSError:
        boot = int.from_bytes(os.urandom(4), "little")
    return boot


def eight_bytes(number):
    """An identity out of the number that the maker of the chip gave it."""
    if len(number) > 8:
        import hashlib

        return hashlib.sha256(number).digest()[:8]
    return bytes(8 - len(number)) + number


# --- this board ------------------------------------------------------------------------------


def read_sensor(t_us):
    """Put your sensor here. These numbers are made up: a wheel that turns once in 8.59 s."""
    turn = (t_us & 0x7FFFFF) / 0x800000
    sway = int(500 * math.sin(2 * math.pi * turn))
    rotation = lh.wrap(int(3600000 * turn))
    return (1200 + sway, -18250 + sway, rotation, None, None, None, None, None)


def main():
    import machine

    uart = machine.UART(1, 115200, timeout=0, txbuf=512, rxbuf=512)
    lamp = machine.Pin(25, machine.Pin.OUT)
    button = machine.Pin(15, machine.Pin.IN, machine.Pin.PULL_UP)
    identity = eight_bytes(machine.unique_id())
    head = Head(uart.write, Clock(), read_sensor, lamp.value, identity, next_boot())
    head.start()
    was_down = False
    while True:
        head.tick(uart.read() or b"")
        down = not button.value()
        if down and not was_down:
            head.press()
        was_down = down


if __name__ == "__main__":
    main()
