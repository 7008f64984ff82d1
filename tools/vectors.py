#!/usr/bin/env python3
"""The example frames of the wire specification: read them, check them, hand them on.

Shares no code with any implementation: the layouts stand here once more, COBS and CRC are
written out from their definitions. Needs Python alone.

    tools/vectors.py            check every block of firmware-protocol/SPEC.md
    tools/vectors.py --json     dump them for other languages
    tools/vectors.py --write    put the right bytes into the blocks that state a body
"""

import argparse
import json
import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

SPEC = Path(__file__).resolve().parents[1] / "firmware-protocol" / "SPEC.md"

# name:size, little-endian; a number instead of a name is a constant; =N is sent for null.
LAYOUTS = {
    "status": "0x31:1 status:1 battery_percent:1=255 0:1 t_us:4 temperature_cdegc:2=-32768"
    " sensor_errors:2 samples_dropped:2 frames_rejected:2",
    "event": "0x32:1 status:1 seq:2 t_us:4 code:1 number:1",
    "pong": "0x33:1 status:1 ping_id:2 received_us:4 sent_us:4",
    "ack": "0x34:1 status:1 command_id:2 op:1 0:1 value:2",
    "refusal": "0x35:1 status:1 command_id:2 op:1 reason:1 value:2",
    "ping": "0xB3:1 0:1 ping_id:2",
    "command": "0xB4:1 op:1 command_id:2 value:2",
    "sample": "set:1 status:1 seq:2 t_us:4",
    "channel": "channel:1 kind:1 unit:2 exponent:1 0:1 rate_dhz:2 low:4 high:4",
    "hello": "0x30:1 major:1 minor:1 mounting:1",
    "hello-rest": "rate_dhz:2 flags:1",
}
FENCES = ("vector", "reject", "text")
BYTES_PER_LINE = 20


class VectorError(Exception):
    """A block of the document that cannot be read."""


@dataclass(frozen=True)
class Vector:
    """One example: ``value`` is what its bytes say, or for a reject why they must be dropped."""

    name: str
    line: int
    reject: bool
    value: dict[str, Any]
    frame: bytes


def crc32(data: bytes) -> int:
    """CRC-32/ISO-HDLC, bit by bit."""
    crc = 0xFFFFFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xEDB88320 if crc & 1 else 0)
    return crc ^ 0xFFFFFFFF


def stuff(data: bytes) -> bytes:
    """COBS: each zero, and each 254 bytes with none, is a code before its block."""
    out, block = bytearray(), bytearray()
    ended_full = False
    for byte in data:
        ended_full = False
        if byte:
            block.append(byte)
        if not byte or len(block) == 254:
            ended_full = byte != 0
            out += bytes([len(block) + 1]) + block
            block.clear()
    return bytes(out if ended_full else out + bytes([len(block) + 1]) + block)


def frame(body: bytes) -> bytes:
    """The bytes of a frame, delimiter included."""
    return stuff(body + crc32(body).to_bytes(4, "little")) + b"\0"


def pack(layout: str, value: dict[str, Any]) -> bytes:
    """Lay out the fields of one message."""
    out = b""
    for name, size, null in re.findall(r"(\w+):(\d)(?:=(-?\d+))?", LAYOUTS[layout]):
        number = int(name, 0) if name[0].isdigit() else value[name]
        number = int(null) if number is None else number
        out += (number % 256 ** int(size)).to_bytes(int(size), "little")
    return out


def body_of(value: dict[str, Any]) -> bytes:
    """The body that a block describes."""
    if "body" in value:
        return bytes.fromhex(value["body"])
    kind, more = value["message"], bytes.fromhex(value.get("more", ""))
    if kind == "sample":
        codes = [0x800000 if code is None else code for code in value["codes"]]
        head = pack("sample", value | {"set": 0x10 + value["set"]})
        return head + b"".join((code % 2**24).to_bytes(3, "little") for code in codes) + more
    if kind == "batch":
        samples = [body_of({"message": "sample"} | sample) for sample in value["samples"]]
        return bytes([0x20, len(samples)]) + b"".join(samples) + more
    if kind == "hello":
        return hello_of(value) + more
    return pack(kind, value) + more


def hello_of(value: dict[str, Any]) -> bytes:
    """A hello: what every version has, and in version 1 the rest."""
    frozen = pack("hello", value) + bytes.fromhex(value["head"])
    frozen += value["boot"].to_bytes(4, "little") + value["firmware"].encode().ljust(24, b"\0")
    if value["major"] != 1:
        return frozen
    extra = bytes.fromhex(value.get("more_per_channel", ""))
    entries = [pack("channel", entry) + extra for entry in value["channels"]]
    counts = bytes([len(entries), 16 + len(extra)])
    return frozen + pack("hello-rest", value) + counts + b"".join(entries)


def read(text: str) -> list[Vector]:
    """Read all blocks. Raises ``VectorError`` on none, and on any that cannot be read."""
    vectors: list[Vector] = []
    fence: tuple[int, str] | None = None
    lines: list[str] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.startswith("```"):
            lines.append(line)
        elif fence is None:
            fence, lines = (number, line[3:].strip()), []
        else:
            vectors += _read_block(*fence, lines)
            fence = None
    if fence is not None:
        raise VectorError(f"line {fence[0]}: the block is never closed")
    if not vectors:
        raise VectorError("the document has no vectors")
    names = [vector.name for vector in vectors]
    if twice := {name for name in names if names.count(name) > 1}:
        raise VectorError(f"used twice: {', '.join(sorted(twice))}")
    return vectors


def _read_block(number: int, info: str, lines: list[str]) -> list[Vector]:
    kind, _, name = info.partition(" ")
    if kind not in FENCES:
        raise VectorError(f"line {number}: unknown kind of block {kind!r}; known: {FENCES}")
    if kind == "text":
        return []
    if not re.fullmatch(r"[a-z0-9-]+", name):
        raise VectorError(f"line {number}: a {kind} needs a name of a-z, 0-9 and -")
    if lines.count(".") != 1:
        raise VectorError(f"line {number}: {name}: a lone dot must part JSON and bytes, once")
    dot = lines.index(".")
    try:
        value = json.loads("\n".join(lines[:dot]))
        data = bytes.fromhex(" ".join(lines[dot + 1 :]))
    except ValueError as error:
        raise VectorError(f"line {number}: {name}: {error}") from error
    wanted = "reason" if kind == "reject" else "message"
    if not isinstance(value, dict) or wanted not in value:
        raise VectorError(f"line {number}: {name}: no {wanted!r} in its JSON")
    if not data.endswith(b"\0") or len(data) < 2:
        raise VectorError(f"line {number}: {name}: the bytes must end with a delimiter")
    vector = Vector(name, number, kind == "reject", value, data)
    try:
        expected(vector)
    except (KeyError, TypeError, ValueError, OverflowError) as error:
        raise VectorError(f"line {number}: {name}: {error!r} in its JSON") from error
    return [vector]


def expected(vector: Vector) -> bytes | None:
    """The frame that a block should show; None where only its bytes say what they are."""
    if vector.reject and "body" not in vector.value:
        return None
    return frame(body_of(vector.value))


def wrong(vectors: list[Vector]) -> list[str]:
    """One line for each vector whose bytes are not those of its JSON."""
    return [
        f"line {vector.line}: {vector.name}: expected {right.hex(' ')}"
        for vector in vectors
        if (right := expected(vector)) is not None and right != vector.frame
    ]


def rewritten(text: str) -> str:
    """The document with the bytes of each block that states a body made anew."""
    lines = text.splitlines()
    for vector in reversed(read(text)):
        if (right := expected(vector)) is not None:
            dot = lines.index(".", vector.line)
            end = lines.index("```", dot)
            starts = range(0, len(right), BYTES_PER_LINE)
            rows = [right[at : at + BYTES_PER_LINE].hex(" ").upper() for at in starts]
            lines[dot + 1 : end] = rows
    return "\n".join(lines) + "\n"


def dump(vectors: list[Vector]) -> str:
    """All vectors as JSON."""
    rows = [
        {
            "name": vector.name,
            "line": vector.line,
            "reject": vector.reject,
            "value": vector.value,
            "frame": vector.frame.hex(),
        }
        for vector in vectors
    ]
    return json.dumps(rows, indent=1)


def main() -> int:
    """Exit 0 when all is well, 1 when bytes are wrong, 2 when the document is unreadable."""
    parser = argparse.ArgumentParser(description="Example frames of the wire specification.")
    parser.add_argument("spec", nargs="?", type=Path, default=SPEC)
    action = parser.add_mutually_exclusive_group()
    action.add_argument("--json", action="store_true", help="dump all vectors")
    action.add_argument("--write", action="store_true", help="put the right bytes in")
    args = parser.parse_args()
    try:
        text = args.spec.read_text(encoding="utf-8")
        if args.write:
            args.spec.write_text(rewritten(text), encoding="utf-8")
            return 0
        vectors = read(text)
    except (OSError, VectorError) as error:
        print(f"vectors: {args.spec}: {error}", file=sys.stderr)
        return 2
    if args.json:
        print(dump(vectors))
        return 0
    faults = wrong(vectors)
    print("\n".join(faults) or f"{len(vectors)} vectors, all right")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
