"""Samples of all heads of the bench, turned into what happens to a session."""

from collections.abc import Collection, Iterable

from calibration.bench.capture import Capture, CaptureSettings, Refused, Settled
from calibration.bench.happenings import Event, Read, Recorded, Unread
from calibration.bench.recording import Recorder, Recording
from ingest.commands.bench_heads import Sample


class Watch:
    """A capture for each head, and the recording that is being made."""

    def __init__(self, settings: CaptureSettings, letters: Iterable[str]) -> None:
        self.captures = {letter: Capture(settings) for letter in letters}
        self._wanted: tuple[str, ...] = ()
        self._recorder: Recorder | None = None
        self._recorded = ""

    @property
    def recorded_s(self) -> float:
        """How long the present recording is."""
        return 0.0 if self._recorder is None else self._recorder.seconds

    def read(self, letters: tuple[str, ...], needed: Collection[str]) -> None:
        """Ask for one reading of each of these heads, with values in the channels needed."""
        self._wanted = letters
        for letter in letters:
            self.captures[letter].begin(needed)

    def record(self, letter: str, recording: Recording) -> None:
        """Start a recording of one head."""
        self._recorded, self._recorder = letter, Recorder(recording)

    def stop(self) -> None:
        """Read and record no further."""
        for capture in self.captures.values():
            capture.cancel()
        self._wanted, self._recorder = (), None

    def feed(self, sample: Sample) -> None:
        """Take one sample."""
        capture = self.captures[sample.letter]
        capture.feed(sample.time_s, sample.values)
        if self._recorder is not None and sample.letter == self._recorded:
            self._recorder.feed(sample.time_s, sample.values, capture.stillness)

    def happened(self) -> Event | None:
        """Return what came of the reading or the recording, once; None while it goes on."""
        event = self._of_recording() or self._of_reading()
        if event is not None:
            self.stop()
        return event

    def _of_recording(self) -> Event | None:
        recorder = self._recorder
        if recorder is None or not (recorder.broken or recorder.finished):
            return None
        return Recorded(recorder.rows, recorder.broken)

    def _of_reading(self) -> Event | None:
        outcomes = {letter: self.captures[letter].outcome for letter in self._wanted}
        for letter, outcome in outcomes.items():
            if isinstance(outcome, Refused):
                return Unread(letter, outcome)
        settled = {a: o for a, o in outcomes.items() if isinstance(o, Settled)}
        if not outcomes or len(settled) < len(outcomes):
            return None
        return Read(settled)
