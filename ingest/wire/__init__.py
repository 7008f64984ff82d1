"""Framing and messages of ``firmware-protocol/SPEC.md``: bytes to values and back, no I/O."""
