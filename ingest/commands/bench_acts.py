"""What the bench does by itself: the commands that anyone could type, on the same files.

So the numbers of the bench are those of ``levelhead calibrate`` and ``levelhead verify``; each
command that was run is kept beside the files, for whoever wants to run it again.
"""

import argparse
import contextlib
import io
import shlex
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from types import ModuleType

from calibration.bench.happenings import Did
from calibration.bench.steps import Step
from calibration.errors import CalibrationError, ReferenceRefused
from calibration.files.references import Kind, Reference, usable
from calibration.files.sheet import Sheet
from calibration.records.parts import Coefficients
from calibration.records.record import CalibrationRecord
from calibration.verification.adjustment import moment_text
from ingest.commands import calibrate, certificate, record, verify
from ingest.commands.bench_folder import Folder
from ingest.commands.draft_file import read_record
from ingest.commands.drift_words import drift_line
from ingest.core.errors import IngestError, MeasurementRefused

COMMANDS: dict[str, ModuleType] = {
    "calibrate": calibrate,
    "verify": verify,
    "record": record,
    "certificate": certificate,
}
KEPT = "commands.txt"
SPHERE_STEPS = ("sphere.csv", "steps.csv", "reversal.csv", "oven.csv")
ENCODERS = ("turn.csv", "closure.csv")
NO_KEY = "No key was given: leave, and come back with --key (levelhead record key --make FILE)."


@dataclass(frozen=True, slots=True)
class Acts:
    """Does the acts of one folder. ``previous``: the heads' last records, by letter."""

    folder: Folder
    sheet: Sheet
    pair: bool
    key: Path | None
    previous: dict[str, str]

    def do(self, step: Step) -> Did:
        """Do a step's work; what went wrong is told, never raised."""
        try:
            if step.name == "references":
                return self._references()
            if step.name.startswith(("adjust", "sign")) and self.key is None:
                return Did(NO_KEY, well=False)
            did = self._run(self._commands(step))
            return replace(did, said=self._summed_up(step, did.said)) if did.well else did
        except ReferenceRefused as refused:
            return Did(str(refused), well=False, stop=True)
        except (MeasurementRefused, IngestError, CalibrationError) as error:
            return Did(str(error), well=False)

    def _summed_up(self, step: Step, said: str) -> str:
        """Return what came of a step, where the last words of its commands do not say it."""
        letter = step.folder or "A"
        if step.name.startswith("certificate"):
            names = ", ".join(path.name for path in self._certificates(letter))
            return f"The certificate is written: {names}."
        draft = self._draft(letter)
        if draft is None or not step.name.startswith("verify"):
            return said
        left = step.name.startswith("verify-left")
        run = draft.as_left if left else draft.as_found
        verdicts = Counter(each.decision for each in run.verdicts) if run is not None else {}
        counted = ", ".join(f"{n} {decision}" for decision, n in verdicts.items())
        doubt = f" {said}" if said.startswith("As found") else ""
        return f"Verdicts as {'left' if left else 'found'}: {counted}.{doubt}"

    def done(self) -> frozenset[str]:
        """Return the acts that the files themselves show to be done."""
        done: set[str] = set()
        for letter in self._letters:
            draft, mark = self._draft(letter), f" {letter}" if self.pair else ""
            if draft is None:
                return frozenset()
            done.add("fit alone")
            if not self.pair or any(fit.kind == "bar" for fit in draft.fits):
                done.add("fit")
            if draft.as_found is not None:
                done.add(f"verify-found{mark}")
            unsigned = draft.version < 3 and draft.as_left is not None  # an older program's work
            if draft.adjustment is not None or unsigned:
                done.add(f"adjust{mark}")
            if draft.as_left is not None:
                done.add(f"verify-left{mark}")
            if draft.signatures:
                done.add(f"sign{mark}")
            if draft.signatures and self._certificates(letter)[1].exists():
                done.add(f"certificate{mark}")
        return frozenset(done)

    def end(self) -> str:
        """Return what there is when all is done, and what the coefficients do not hold."""
        signed = [a for a in self._letters if self._certificates(a)[1].exists()]
        lines = ["All is done."]
        if signed:
            papers = ", ".join(f"{a}.json with {self._certificates(a)[1].name}" for a in signed)
            lines = [f"All is done. Signed, with certificates, in {self.folder.path}: {papers}."]
        parts = [each.tilt for each in self.known().values() if each.tilt is not None]
        return "\n".join(filter(None, [*lines, drift_line(parts)]))

    def known(self) -> dict[str, Coefficients]:
        """Return what the drafts say of each head, by letter."""
        drafts = {letter: self._draft(letter) for letter in self._letters}
        return {a: draft.coefficients for a, draft in drafts.items() if draft is not None}

    @property
    def _letters(self) -> tuple[str, ...]:
        return tuple(head.letter for head in self.sheet.head) if self.pair else ("A",)

    def _references(self) -> Did:
        references = self.folder.read_references(self.sheet.references)
        for reference in references:
            usable(reference, self.sheet.issued)
            if reference.kind is Kind.GAUGE_BLOCKS and not reference.blocks:
                _check_stacks(reference)
        names = ", ".join(reference.id for reference in references)
        return Did(f"In order on {self.sheet.issued}: {names}.")

    def _commands(self, step: Step) -> list[list[str]]:
        letter = step.folder or "A"
        papers = ["--sheet", str(self.folder.sheet), "--references", str(self.folder.references)]
        draft = str(self.folder.draft(letter))
        if step.name == "fit alone":
            return [*self._fits(papers)]
        if step.name == "fit":
            return [*self._fits(papers), *self._bar(papers)]
        if step.name.startswith("verify"):
            when = "left" if "left" in step.name else "found"
            points = str(self._file(letter, f"{when}.csv"))
            bar = self.folder.path / f"bar-{when}.csv"
            zero = ["--bar", str(bar)] if bar.exists() else []
            return [["verify", points, "--record", draft, "--as", when, *zero, *papers]]
        if step.name.startswith("adjust"):
            # With the time, so that the commands give the same once more when they are run again.
            now = moment_text(datetime.now(UTC))
            return [["record", "adjust", draft, "--key", str(self.key), "--at", now]]
        if step.name.startswith("sign"):
            return [["record", "sign", draft, "--key", str(self.key), "-o", draft]]
        html, pdf, xml = map(str, self._certificates(letter))
        forms = ["--html", html, "--pdf", pdf, "--dcc", xml]
        return [["certificate", draft, *forms, *self._checked_with()]]

    def _checked_with(self) -> list[str]:
        """Return the public key that lies beside the private one; without it nothing is checked."""
        public = None if self.key is None else Path(f"{self.key}.pub")
        return [] if public is None or not public.exists() else ["--key", str(public)]

    def _fits(self, papers: Sequence[str]) -> Iterator[list[str]]:
        for letter in self._letters:
            draft = str(self.folder.draft(letter))
            files = [self._file(letter, name) for name in SPHERE_STEPS]
            tilt = [str(file) for file in files if file.exists()]
            before = self.previous.get(letter)
            follows = [] if before is None else ["--previous", before]
            yield ["calibrate", "tilt", *tilt, "--head", letter, "-o", draft, *papers, *follows]
            onto = ["--onto", draft, "--head", letter, *papers]
            for name in ENCODERS:
                if self._file(letter, name).exists():
                    yield ["calibrate", "encoder", str(self._file(letter, name)), *onto]
            if self._file(letter, "still.csv").exists():
                yield ["calibrate", "still", str(self._file(letter, "still.csv")), *onto]

    def _bar(self, papers: Sequence[str]) -> Iterator[list[str]]:
        bar = self.folder.path / "bar.csv"
        if bar.exists():
            drafts = [str(self.folder.draft(letter)) for letter in "AB"]
            yield [
                "calibrate",
                "bar",
                str(bar),
                "--onto",
                drafts[0],
                "--onto-b",
                drafts[1],
                *papers,
            ]

    def _run(self, commands: Sequence[Sequence[str]]) -> Did:
        """Run commands one after the other; the last words of each are told."""
        said = []
        for words in commands:
            code, text = _command(words)
            self._keep(words)
            if code:
                return Did(f"{words[0]}: {text}", well=False)
            said.append(text)
        return Did(" ".join(dict.fromkeys(said)))

    def _keep(self, words: Sequence[str]) -> None:
        with (self.folder.path / KEPT).open("a", encoding="utf-8") as file:
            file.write(f"levelhead {shlex.join(words)}\n")

    def _file(self, letter: str, name: str) -> Path:
        return self.folder.path / letter / name if self.pair else self.folder.path / name

    def _certificates(self, letter: str) -> tuple[Path, Path, Path]:
        stem = self.folder.path / f"{letter}-certificate"
        return stem.with_suffix(".html"), stem.with_suffix(".pdf"), stem.with_suffix(".xml")

    def _draft(self, letter: str) -> CalibrationRecord | None:
        path = self.folder.draft(letter)
        if not path.exists():
            return None
        found = read_record(str(path))
        return found if isinstance(found, CalibrationRecord) else None


def _check_stacks(blocks: Reference) -> None:
    """A set that tells neither its blocks nor a formula would stop the work much later."""
    try:
        blocks.stack(10.0, ())
    except ValueError:
        name, why = f"gauge-blocks {blocks.id}", "tell neither U_per_mm nor their blocks"
        raise ReferenceRefused(name, why, "complete the register from the certificate") from None


def _command(words: Sequence[str]) -> tuple[int, str]:
    """Run a command as if it were typed; return its exit code and what it says last.

    Of a signature it is what comes first: the words about seals follow each of them.
    """
    module = COMMANDS[words[0]]
    parser = argparse.ArgumentParser(prog=f"levelhead {words[0]}", exit_on_error=False)
    module.add_arguments(parser)
    told = io.StringIO()
    with contextlib.redirect_stdout(told):
        code = int(module.run(parser.parse_args(words[1:])))
    lines = [line.strip() for line in told.getvalue().splitlines() if line.strip()]
    return code, lines[0 if words[0] == "record" else -1] if lines else ""
