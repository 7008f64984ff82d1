"""The C reference as a shared library, behind Python calls, and the vectors of the document.

Every buffer that C is given has exactly the room that C is told, with guard bytes behind it.
"""

import ctypes as ct
import importlib.util
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SOURCE = ROOT / "firmware-protocol" / "c"
NO_VALUE = -(1 << 23)
GUARD = b"\xa5" * 16
U8, U16, U32, I16, I32 = ct.c_uint8, ct.c_uint16, ct.c_uint32, ct.c_int16, ct.c_int32
SIZE, PTR, BOOL = ct.c_size_t, ct.c_void_p, ct.c_bool
SINK = ct.CFUNCTYPE(None, PTR, U8)


def load_vectors():
    path = ROOT / "tools" / "vectors.py"
    spec = importlib.util.spec_from_file_location("tools_vectors_for_c", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    document = ROOT / "firmware-protocol" / "SPEC.md"
    return module.read(document.read_text(encoding="utf-8"))


VECTORS = load_vectors()


def pytest_generate_tests(metafunc):
    for fixture, reject in (("accepted", False), ("rejected", True)):
        if fixture in metafunc.fixturenames:
            chosen = [vector for vector in VECTORS if vector.reject is reject]
            metafunc.parametrize(fixture, chosen, ids=[vector.name for vector in chosen])


def layout(name, *groups):
    """A structure, as pairs of a type and the names of the fields that have it, in order."""
    pairs = zip(groups[::2], groups[1::2], strict=True)
    fields = [(field, kind) for kind, names in pairs for field in names.split()]
    return type(name, (ct.Structure,), {"_fields_": fields})


Channel = layout("Channel", U8, "channel kind", U16, "rate_dhz", I32, "low high")
CHANNELS, RATES = ct.POINTER(Channel), ct.POINTER(U16)
FIRST = U8 * 8, "head", U32, "boot", ct.c_char_p, "firmware", U16, "rate_dhz", U8, "mounting"
Hello = layout("Hello", *FIRST, BOOL, "streaming", CHANNELS, "channels", U8, "count")
Sample = layout("Sample", U8, "status", U16, "seq", U32, "t_us", I32 * 8, "codes")
COUNTERS = "sensor_errors samples_dropped frames_rejected"
KNOWN = U8, "status battery_percent", U32, "t_us", I16, "temperature_cdegc"
Health = layout("Health", *KNOWN, U16, COUNTERS)
Event = layout("Event", U8, "status", U16, "seq", U32, "t_us", U8, "code number")
Request = layout("Request", U8, "type op", U16, "id value")
Boot = layout("Boot", U32, "id", U16, "seq", U8, "events")
FLAGS = "streaming hello_due"
Control = layout(
    "Control", RATES, "rates_dhz", U8, "rates", U16, "rate_dhz", BOOL, FLAGS, U16, "identify_ds"
)
Batch = layout("Batch", PTR, "body", SIZE, "room", U8, "count")
COUNTED = U32, "crc", U16, "raw decoded rejected", U8, "left code"
Receiver = layout("Receiver", *COUNTED, U8 * 6, "first", BOOL, "started")
Clock = layout("Clock", U32, "t_us rest last mask", U16, "us ticks")

SIGNATURES = {
    "lh_status": (U8, U32, U8),
    "lh_wrap": (I32, I32),
    "lh_count": (None, PTR),
    "lh_boot_begin": (None, PTR, U32),
    "lh_boot_sample": (None, PTR, U8, U32, PTR),
    "lh_boot_event": (None, PTR, U8, U32, U8, PTR),
    "lh_put_hello": (SIZE, PTR, SIZE, PTR),
    "lh_put_sample": (SIZE, PTR, SIZE, U8, PTR),
    "lh_put_status": (SIZE, PTR, SIZE, PTR),
    "lh_put_event": (SIZE, PTR, SIZE, PTR),
    "lh_put_pong": (SIZE, PTR, SIZE, U8, PTR, U32, U32),
    "lh_put_ack": (SIZE, PTR, SIZE, U8, PTR, U16),
    "lh_put_refusal": (SIZE, PTR, SIZE, U8, PTR, U8, U16),
    "lh_obey": (SIZE, PTR, SIZE, U8, PTR, PTR),
    "lh_batch_begin": (None, PTR, PTR, SIZE),
    "lh_batch_add": (BOOL, PTR, U8, PTR),
    "lh_batch_add_both": (BOOL, PTR, PTR),
    "lh_batch_end": (SIZE, PTR),
    "lh_frame": (SIZE, PTR, SIZE, PTR, SIZE),
    "lh_frame_to": (SIZE, SINK, PTR, PTR, SIZE),
    "lh_receiver_begin": (None, PTR),
    "lh_receive": (BOOL, PTR, U8, PTR),
    "lh_read": (BOOL, PTR, SIZE, PTR),
    "lh_clock_begin": (None, PTR, U32, U32, U16, U16),
    "lh_clock_us": (U32, PTR, U32),
    "lh_due": (BOOL, U32, U32),
}


def into(room, call):
    """What ``call(buffer, room)`` wrote; never a byte beyond the room, whatever it returns."""
    memory = ct.create_string_buffer(b"\x5a" * room + GUARD, room + len(GUARD))
    size = call(ct.cast(memory, PTR), room)
    assert memory.raw[room:] == GUARD, "wrote beyond the room"
    assert size <= room
    return memory.raw[:size]


class Head:
    """The C reference. Values are those of the vectors' JSON; bodies and frames are bytes."""

    Boot, Clock, Control, Request = Boot, Clock, Control, Request
    Sample, Event, U16 = Sample, Event, U16

    def __init__(self, library):
        self.c = library

    def sample(self, value):
        """A sample with the codes of one set in their place."""
        codes = [NO_VALUE if code is None else code for code in value["codes"]]
        places = [NO_VALUE] * 8
        places[4 * value["set"] : 4 * value["set"] + 4] = codes
        return Sample(value["status"], value["seq"], value["t_us"], (I32 * 8)(*places))

    def body(self, value, room=512):
        """The body of a message from a head; empty when C says that it cannot be."""
        return into(room, lambda *to: getattr(self, f"_{value['message']}")(value, *to))

    def _sample(self, value, at, room):
        return self.c.lh_put_sample(at, room, value["set"], ct.byref(self.sample(value)))

    def _batch(self, value, at, room):
        batch = Batch()
        self.c.lh_batch_begin(ct.byref(batch), at, room)
        for entry in value["samples"]:
            sample = self.sample(entry)
            if not self.c.lh_batch_add(ct.byref(batch), entry["set"], ct.byref(sample)):
                return 0
        return self.c.lh_batch_end(ct.byref(batch))

    def _hello(self, value, at, room):
        entries = value["channels"]
        names = ("channel", "kind", "rate_dhz", "low", "high")
        rows = (Channel * len(entries))(*[Channel(*(e[n] for n in names)) for e in entries])
        hello = Hello(
            head=(U8 * 8)(*bytes.fromhex(value["head"])),
            boot=value["boot"],
            firmware=value["firmware"].encode("latin-1"),
            rate_dhz=value["rate_dhz"],
            mounting=value["mounting"],
            streaming=bool(value["flags"] & 1),
            channels=rows,
            count=len(entries),
        )
        return self.c.lh_put_hello(at, room, ct.byref(hello))

    def _status(self, value, at, room):
        battery, cdegc = value["battery_percent"], value["temperature_cdegc"]
        known = {
            "battery_percent": 255 if battery is None else battery,
            "temperature_cdegc": -32768 if cdegc is None else cdegc,
        }
        fields = {key: item for key, item in value.items() if key != "message"} | known
        return self.c.lh_put_status(at, room, ct.byref(Health(**fields)))

    def _event(self, value, at, room):
        fields = {key: item for key, item in value.items() if key != "message"}
        return self.c.lh_put_event(at, room, ct.byref(Event(**fields)))

    def _pong(self, value, at, room):
        ping = Request(type=0xB3, id=value["ping_id"])
        times = value["received_us"], value["sent_us"]
        return self.c.lh_put_pong(at, room, value["status"], ct.byref(ping), *times)

    def _ack(self, value, at, room):
        command = Request(0xB4, value["op"], value["command_id"])
        put = self.c.lh_put_ack
        return put(at, room, value["status"], ct.byref(command), value["value"])

    def _refusal(self, value, at, room):
        command = Request(0xB4, value["op"], value["command_id"])
        why = value["reason"], value["value"]
        return self.c.lh_put_refusal(at, room, value["status"], ct.byref(command), *why)

    def frame(self, body, room=600):
        """The frame of a body; empty when C says that it does not fit."""
        return into(room, lambda at, size: self.c.lh_frame(at, size, body, len(body)))

    def frame_to_sink(self, body):
        """The frame of a body, byte by byte into a sink, and the size that C states."""
        out = bytearray()
        size = self.c.lh_frame_to(SINK(lambda _, byte: out.append(byte)), None, body, len(body))
        return bytes(out), size

    def both(self, samples, room):
        """A batch of both sets of each sample, and how many samples it took."""
        taken = []

        def fill(at, size):
            batch = Batch()
            self.c.lh_batch_begin(ct.byref(batch), at, size)
            for sample in samples:
                if not self.c.lh_batch_add_both(ct.byref(batch), ct.byref(sample)):
                    break
                taken.append(sample)
            return self.c.lh_batch_end(ct.byref(batch))

        return into(room, fill), len(taken)

    def read(self, body):
        """What a bare body asks, or None."""
        request = Request()
        took = self.c.lh_read(body, len(body), ct.byref(request))
        return value_of(request) if took else None

    def obey(self, control, request, room=8, status=160):
        """The body of the answer to a request."""
        parts = ct.byref(control), ct.byref(request)
        return into(room, lambda at, size: self.c.lh_obey(at, size, status, *parts))

    def receiver(self):
        """A receiver on a fresh link."""
        return Stream(self.c)


class Stream:
    """A receiver of the C reference, fed with bytes."""

    def __init__(self, library):
        self.c = library
        self.state = Receiver()
        self.c.lh_receiver_begin(ct.byref(self.state))

    def feed(self, data):
        """The requests that these bytes complete."""
        found, request = [], Request()
        state, to = ct.byref(self.state), ct.byref(request)
        for byte in data:
            if self.c.lh_receive(state, byte, to):
                found.append(value_of(request))
        return found

    @property
    def rejected(self):
        """How many frames were dropped."""
        return self.state.rejected


def value_of(request):
    """A request in the words of the vectors."""
    if request.type == 0xB3:
        return {"message": "ping", "ping_id": request.id}
    fields = {"op": request.op, "command_id": request.id, "value": request.value}
    return {"message": "command"} | fields


@pytest.fixture(scope="session")
def c_source():
    """The folder of the C reference."""
    return SOURCE


@pytest.fixture(scope="session")
def head_in_c(real_part, tmp_path_factory):
    """The C reference, built by gcc as a shared library."""
    library = tmp_path_factory.mktemp("levelhead") / "levelhead.so"
    flags = ["-std=c99", "-O2", "-shared", "-fPIC", "-o", str(library)]
    subprocess.run([real_part("gcc"), *flags, str(SOURCE / "levelhead.c")], check=True)
    loaded = ct.CDLL(str(library))
    for name, (result, *arguments) in SIGNATURES.items():
        function = getattr(loaded, name)
        function.restype, function.argtypes = result, arguments
    return Head(loaded)


@pytest.fixture(scope="session")
def vectors():
    """All vectors of the document."""
    return VECTORS
