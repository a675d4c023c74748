"""One bench test after another with a person at the terminal: instructions out, words in, the proof kept."""

import math
import textwrap
from enum import Enum
from pathlib import Path

from groundstation.bench.configuration import configuration
from groundstation.bench.gimbal_sign import WRONG
from groundstation.bench.kept import KeptProof
from groundstation.bench.proof import Proof, ProofOutcome
from groundstation.bench.store import keep_proof
from groundstation.bench.walk import BenchTest, Ends, Guidance, Said, Step, Takes
from groundstation.bench_session import BenchSession
from groundstation.cli.failure import LINK, USAGE, Failure
from groundstation.cli.person import Person, Status
from groundstation.cli.shown import quantity
from groundstation.config.fingerprint import vehicle_fingerprint
from groundstation.inputs import NS_PER_S, EventKind

_WIDTH = 96
_POLL_S = 0.1
_GREATEST_M = 100_000.0
UNATTENDED_S = 60.0  # a first packet is waited for so long where nobody is at the terminal
_SHOWN = (EventKind.LINK, EventKind.RECORDING)


class Walked(Enum):
    """How a walk through a test ended."""

    PASSED = ProofOutcome.PASSED.value
    FAILED = ProofOutcome.FAILED.value
    CANNOT_TELL = ProofOutcome.CANNOT_TELL.value
    SKIPPED = "skipped"
    STOPPED = "stopped"
    NOT_REACHED = "not reached"


_LEAVING = {"skip": Walked.SKIPPED, "stop": Walked.STOPPED}


class Walking:
    """Walks a person through tests; see the module."""

    def __init__(self, session: BenchSession, person: Person, path: Path, *, version: str) -> None:
        """Take a running session.

        Args:
            session: What is listened to.
            person: Who answers.
            path: The file that keeps the proofs.
            version: Of this program.
        """
        self._session = session
        self._person = person
        self._path = path
        self._version = version
        self._status = Status()
        self._told_events = 0

    def walk(self, test: BenchTest) -> Walked:
        """Walk through one test, keep its proof and show it.

        Raises:
            Failure: Nobody is there to answer any more, and a step wants an answer.
            ProofFileError: The proof cannot be kept.
        """
        left = self._begin(test)
        if left is not None:
            return left
        self._session.say(test, Said.BEGIN)
        shown = 0
        while True:
            told = self._session.look(test)
            if isinstance(told, Proof):
                return self._keep(test, told)
            if told.number != shown:
                shown = told.number
                self._say(f"Step {told.number} of {told.of}: {told.step.instruction}")
            if told.enough:
                self._session.say(test, Said.DONE)
                continue
            left = self._answered(test, told)
            if left is not None:
                return left
            self._take(f"  seen: {told.seen}{_time_left(told)}")

    def _begin(self, test: BenchTest) -> Walked | None:
        """Say what is shown and asked of the bench, and wait for the person; how it was left, if it was."""
        self._status.say("")
        self._say(f"{test.name}: shows {test.shows}.")
        for caution in test.cautions:
            self._say(f"- {caution}", "  ")
        self._say("Press Enter to begin, or type skip or stop.")
        unattended = all(step.ends is not Ends.BY_PERSON for step in test.steps(self._session.timeline.vehicle))
        while True:
            self._take(f"  {self._hearing()}")
            answer = self._person.said()
            if answer is None:
                if not self._person.ended:
                    continue
                if not unattended:
                    raise _nobody(f"{test.name} was begun")
                if self._session.timeline.last_packet_ns(self._now_ns) is not None:
                    return None
                if self._now_ns - self._session.timeline.started_ns > round(UNATTENDED_S * NS_PER_S):
                    text = f"nothing has come for {quantity(UNATTENDED_S, 0, 's')} and nobody is there to mend it"
                    raise Failure(f"{text}: look at the link, the receiver and the vehicle's power", LINK)
            elif answer == "":
                return None
            elif answer.lower() in _LEAVING:
                return _LEAVING[answer.lower()]
            else:
                self._say(f'Not understood: "{answer}". Press Enter to begin, or type skip or stop.')

    def _answered(self, test: BenchTest, told: Guidance) -> Walked | None:
        """Take what the person said, if anything; how the test was left, if it was."""
        answer = self._person.said()
        if answer is None:
            if self._person.ended and told.step.ends is Ends.BY_PERSON:
                raise _nobody(f"step {told.number} of {told.of} of {test.name} was said to be done")
            return None
        word = answer.lower()
        if word in _LEAVING:
            self._say(f"{test.name} is left; nothing of it is kept but the recording.")
            return _LEAVING[word]
        text = _understood(word, told.step)
        if text is None:
            self._say(f'Not understood: "{answer}". {_what_to_say(told.step)}')
        elif told.left_s > 0.0:
            self._say(f"Not yet: {quantity(math.ceil(told.left_s), 0, 's')} more.")
        else:
            self._session.say(test, Said.DONE, text)
        return None

    def _keep(self, test: BenchTest, proof: Proof) -> Walked:
        vehicle = self._session.timeline.vehicle
        self._status.say("")
        self._say(f"{proof.name}: {proof.outcome.value.upper()}")
        for reason in proof.reasons:
            self._say(reason, "  ")
        if proof.look_first:
            self._say(f"Touch first: {proof.look_first}.", "  ")
        for figure in proof.figures:
            self._say(f"{figure.name}: {figure.value:g} {figure.unit}".rstrip(), "    ")
        mark, whole = configuration(vehicle, test), vehicle_fingerprint(vehicle)
        keep_proof(self._path, KeptProof(proof, mark, whole, self._version, self._session.recording_name))
        self._say(f"Kept in {self._path}.", "  ")
        return Walked(proof.outcome.value)

    @property
    def _now_ns(self) -> int:
        return self._session.timeline.now_ns

    def _hearing(self) -> str:
        last_ns = self._session.timeline.last_packet_ns(self._now_ns)
        if last_ns is None:
            return "no packet has come yet"
        age_s = (self._now_ns - last_ns) / NS_PER_S
        return "packets come" if age_s < 2.0 else f"no packet has come for {quantity(age_s, 0, 's')}"

    def _take(self, status: str) -> None:
        """Take in what has come for a moment, and tell how it stands."""
        self._session.take(_POLL_S)
        events = self._session.timeline.station_events
        for event in events[self._told_events :]:
            if event.kind in _SHOWN:
                self._say(f"({f'{event.link}: ' if event.link else 'recording: '}{event.text})")
        self._told_events = len(events)
        self._status.show(status)

    def _say(self, text: str, indent: str = "") -> None:
        for line in textwrap.wrap(
            text, _WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False
        ):
            self._status.say(line)


def _understood(word: str, step: Step) -> str | None:
    """What goes with the mark of a step that is said to be done; None for a word that means nothing here."""
    if word in ("", "done"):
        return ""
    if step.takes is Takes.WRONG and word == WRONG:
        return WRONG
    if step.takes is Takes.DISTANCE:
        return _distance(word.removesuffix("m").strip())
    return None


def _distance(word: str) -> str | None:
    try:
        metres = float(word) if word.isascii() else math.nan
    except ValueError:
        return None
    return f"{metres:g}" if 0.0 < metres <= _GREATEST_M else None


def _what_to_say(step: Step) -> str:
    more = {Takes.WRONG: ", wrong", Takes.DISTANCE: ", a distance in metres", Takes.NOTHING: ""}[step.takes]
    return f"Press Enter when it is done, or type skip, stop{more}."


def _time_left(told: Guidance) -> str:
    if told.left_s <= 0.0:
        return ""
    if told.left_s < 100.0:
        return f" ({quantity(math.ceil(told.left_s), 0, 's')} more)"
    return f" ({quantity(told.left_s / 60.0, 1, 'min')} more)"


def _nobody(before: str) -> Failure:
    return Failure(
        f"standard input ended before {before}: run bench in a terminal, or pipe your answers to it, one line each",
        USAGE,
    )
