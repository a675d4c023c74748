"""A bench test as a walk: steps a person takes while the vehicle sends, and what the timeline says of each.

Pure: `guide` takes the timeline, what the person said with its times, and the time now, and gives the next
instruction or the proof. What the person says is a `Mark`; marks are recorded, so that a recording gives the same
proof again. Only a mark ends a step: one that is seen to be done gets its mark from whoever runs the walk.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum, StrEnum

from groundstation.bench.proof import Point, Proof, cannot_tell, proof_of_points
from groundstation.config.bench_plan import ProofName
from groundstation.config.vehicle import Place, Vehicle
from groundstation.inputs import NS_PER_S
from groundstation.readiness.window import Unknown, Window
from groundstation.table import FloatArray
from groundstation.timeline import Timeline

AWAITED_S = 2.0  # at a step's beginning, in which it is no news that nothing has come yet


class Said(StrEnum):
    """What a mark stands for."""

    BEGIN = "begin"
    DONE = "done"


@dataclass(frozen=True, slots=True)
class Mark:
    """The person began a test, or said that a step is done; `text` is what else was said, such as a distance."""

    at_ns: int
    proof: ProofName
    said: Said
    text: str = ""


class Ends(Enum):
    """What ends a step."""

    BY_PERSON = "the person says so"
    WHEN_SEEN = "it has been seen, or the person says so"
    AFTER_TIME = "its time is over"


class Takes(Enum):
    """What the person may say at a step's end besides that it is done."""

    NOTHING = "nothing"
    WRONG = "that what the eye sees is wrong"
    DISTANCE = "a distance in metres"


@dataclass(frozen=True, slots=True)
class Step:
    """One thing the person does.

    Attributes:
        key: What the step is called among the test's steps.
        instruction: What to do, as a sentence or more.
        least_s: How long it lasts at the least.
        ends: What ends it.
        takes: What else may be said at its end.
    """

    key: str
    instruction: str
    least_s: float = 0.0
    ends: Ends = Ends.BY_PERSON
    takes: Takes = Takes.NOTHING


@dataclass(frozen=True, slots=True)
class Stretch:
    """A step's time, and what the timeline holds of it; `said` is what was said at its end besides "done"."""

    key: str
    from_ns: int
    to_ns: int
    timeline: Timeline
    said: str = ""

    @property
    def seconds(self) -> float:
        """How long it lasted."""
        return (self.to_ns - self.from_ns) / NS_PER_S

    @property
    def window(self) -> Window:
        """The timeline at the stretch's end."""
        return Window(self.timeline, self.to_ns)

    def together(self, names: tuple[str, ...]) -> tuple[FloatArray, FloatArray]:
        """Several measurements over the stretch, as `Window.together`: times up to its end [s], and (names, n).

        Raises:
            Unknown: One of them is not sent, has not come, is old at the stretch's end, or is not valid then.
        """
        return self.window.together(names, self.seconds)

    def last(self, seconds: float) -> "Stretch":
        """The end of the stretch, at most so long."""
        from_ns = max(self.from_ns, self.to_ns - round(seconds * NS_PER_S))
        return Stretch(self.key, from_ns, self.to_ns, self.timeline, self.said)


@dataclass(frozen=True, slots=True)
class Seen:
    """What has been seen of a step so far, in words, and whether it is enough."""

    text: str
    enough: bool = False


@dataclass(frozen=True, slots=True)
class BenchTest:
    """A bench test: its steps, what it says while one is under way, and how it judges.

    Attributes:
        name: The proof it makes.
        shows: What it proves, in a sentence.
        cautions: What the person must have made sure of before.
        place: Where on the vehicle it belongs.
        tables: Tables of the vehicle file that its result depends on.
        limits: Limits of the vehicle file it goes by.
        measurements: Those it goes by, for a vehicle.
        steps: What is to be done, for a vehicle.
        watch: What has been seen of the step under way.
        judge: What the steps' stretches show, all of them in order.
    """

    name: ProofName
    shows: str
    cautions: tuple[str, ...]
    place: Place
    tables: tuple[str, ...]
    limits: tuple[str, ...]
    measurements: Callable[[Vehicle], tuple[str, ...]]
    steps: Callable[[Vehicle], tuple[Step, ...]]
    watch: Callable[[Stretch], Seen]
    judge: Callable[[Sequence[Stretch]], Sequence[Point]]


@dataclass(frozen=True, slots=True)
class Guidance:
    """What the person is to do now, and how far it is.

    Attributes:
        step: The step under way.
        number: Which it is, from 1.
        of: How many there are.
        began_ns: When it began.
        seen: What has been seen of it, in words.
        left_s: How long it lasts yet at the least; 0 once it may end.
        enough: Whether it has been seen to be done, or its time is over, so that it may end by itself.
    """

    step: Step
    number: int
    of: int
    began_ns: int
    seen: str
    left_s: float
    enough: bool


def guide(test: BenchTest, timeline: Timeline, marks: Sequence[Mark], now_ns: int) -> Guidance | Proof:
    """The next instruction, or the proof once every step is done.

    Args:
        test: The bench test.
        timeline: All that was received, at least up to `now_ns`.
        marks: What the person said in this walk: the beginning, then the end of each step so far, in order.
        now_ns: The time now, not before the last mark's.
    Raises:
        ValueError: The marks are not those of one walk through this test.
    """
    steps = test.steps(timeline.vehicle)
    if not marks or [m.said for m in marks] != [Said.BEGIN, *[Said.DONE] * (len(marks) - 1)]:
        raise ValueError(f"found the marks {[m.said.value for m in marks]}, expected begin, then done for each step")
    if len(marks) - 1 > len(steps) or any(mark.proof is not test.name for mark in marks):
        raise ValueError(f"found {len(marks)} marks that are not those of one walk through {test.name}")
    done = tuple(
        Stretch(step.key, before.at_ns, mark.at_ns, timeline, mark.text)
        for step, before, mark in zip(steps, marks, marks[1:], strict=False)
    )
    if len(done) == len(steps):
        return _judged(test, done)
    step, began_ns = steps[len(done)], marks[-1].at_ns
    left_s = max(0.0, step.least_s - (now_ns - began_ns) / NS_PER_S)
    try:
        seen = test.watch(Stretch(step.key, began_ns, now_ns, timeline))
    except Unknown as unknown:
        awaited = now_ns - began_ns < round(AWAITED_S * NS_PER_S)
        seen = Seen("packets are awaited" if awaited else unknown.text)
    enough = {Ends.BY_PERSON: False, Ends.WHEN_SEEN: seen.enough, Ends.AFTER_TIME: True}[step.ends]
    return Guidance(step, len(done) + 1, len(steps), began_ns, seen.text, left_s, enough=enough and left_s == 0.0)


def _judged(test: BenchTest, done: tuple[Stretch, ...]) -> Proof:
    try:
        points = test.judge(done)
    except Unknown as unknown:
        points = [_untold(unknown)]
    return proof_of_points(test.name, done[-1].to_ns, points)


def _untold(unknown: Unknown) -> Point:
    """What a window could not say, with its "Look at …" as what to touch first."""
    text, _, look = unknown.text.partition(" Look at ")
    return cannot_tell(text, look.removesuffix("."))


def try_each(*rules: Callable[[], Point]) -> list[Point]:
    """A point of each rule: what one cannot tell says nothing of the others."""
    points: list[Point] = []
    for rule in rules:
        try:
            points.append(rule())
        except Unknown as unknown:
            points.append(_untold(unknown))
    return points
