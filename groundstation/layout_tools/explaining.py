"""One frame explained: what every byte is by the description, what does not fit, and what would have fitted.

`explain(description, data)` takes bytes that should hold one frame and never raises on their account.
"""

from dataclasses import dataclass

from decoders.contents import Verdict
from decoders.errors import DecodersError
from decoders.layout import Packet, Reason
from decoders.synchronised import Synchronised
from groundstation.layout_tools.body_suspects import body_suspects
from groundstation.layout_tools.checksum_suspects import checksum_suspects, damage_suspects
from groundstation.layout_tools.described import Description
from groundstation.layout_tools.framing_suspects import delimiter_suspects, framing_suspects
from groundstation.layout_tools.hypothesis import Hypothesis, ranked
from groundstation.layout_tools.readings import Reading, outside, readings
from groundstation.layout_tools.taking import Case, Taken, covered_by
from groundstation.layout_tools.value_suspects import value_suspects


@dataclass(frozen=True, slots=True)
class Explanation:
    """What there is to say of one frame.

    `fault` is None for a sound packet. `packet` is the kind that the fields were read as: by the discriminator, or,
    where that is unknown, the kind of the same length (`is_guessed`). `hypotheses` come strongest first.
    """

    taken: Taken
    head: bytes
    body: bytes
    checksum_name: str
    checksum_stated: bytes
    checksum_expected: bytes
    fault: tuple[Reason, str] | None
    id: int | None
    packet: Packet | None
    is_guessed: bool
    readings: tuple[Reading, ...]
    hypotheses: tuple[Hypothesis, ...]

    @property
    def outside(self) -> tuple[Reading, ...]:
        """Fields whose value cannot be."""
        return outside(self.readings)

    @property
    def is_sound(self) -> bool:
        """Whether nothing is wrong: a packet, and every value possible."""
        return self.fault is None and not self.outside


def explain(description: Description, data: bytes) -> Explanation:
    """Explain bytes that should hold one frame.

    Args:
        description: What the frame should be.
        data: The frame as it came; bytes before and after it are kept apart.
    Raises:
        LayoutError: The description itself cannot be used.
    """
    case = Case(description, data)
    contents = case.taken.contents
    if contents is None:
        reason = Reason.FRAMING
        found = (reason, case.taken.broken)
        return _explanation(case, b"", found, framing_suspects_of(case))
    body = case.body_of(contents)
    if case.judge.verdict(contents) is Verdict.PACKET:
        packet = case.packet_of(body)
        assert packet is not None
        hypotheses = [*delimiter_suspects(case), *value_suspects(case, body, packet)]
        return _explanation(case, contents, None, hypotheses)
    fault = case.judge.fault(contents)
    hypotheses = framing_suspects_of(case)
    if fault[0] is Reason.CHECKSUM:
        hypotheses += [*checksum_suspects(case), *damage_suspects(case), *_longer(case)]
    elif fault[0] is not Reason.OTHER_VEHICLE:
        hypotheses += body_suspects(case, body)
    return _explanation(case, contents, fault, hypotheses)


def framing_suspects_of(case: Case) -> list[Hypothesis]:
    """The framing's suspects as a list."""
    return list(framing_suspects(case))


def _longer(case: Case) -> list[Hypothesis]:
    """Of a frame that is as long as its kind of packet: another length at whose end the checksum is right."""
    found = case.framing
    if not isinstance(found, Synchronised) or found.sync.length is not None or not case.checksum.size:
        return []
    rest = case.data[len(case.taken.before) :]
    described = len(case.taken.frame)
    hypotheses: list[Hypothesis] = []
    least = case.head + case.checksum.size + case.layout.envelope.before + case.layout.envelope.after + 1
    ends = {len(rest), *range(max(described - 8, least), min(described + 9, len(rest)) + 1)} - {described}
    for end in sorted(ends, key=lambda end: abs(end - described)):
        contents = rest[:end]
        message = covered_by(case.layout, case.checksum, case.head, case.core(contents))
        if message is None:
            continue
        number = case.checksum.of(message)
        if number.to_bytes(case.checksum.size, case.layout.checksum_order.value) == case.stated_of(contents):
            hypotheses += body_suspects(case, case.body_of(contents))
            break
    return hypotheses


def _explanation(
    case: Case, contents: bytes, fault: tuple[Reason, str] | None, hypotheses: list[Hypothesis]
) -> Explanation:
    body = case.body_of(contents) if contents else b""
    packet = case.packet_of(body) if contents else None
    is_guessed = False
    if packet is None and contents:
        packet = next((p for p in case.layout.packets if len(body) in p.lengths), None)
        is_guessed = packet is not None
    try:
        read = readings(case.description, packet, body, case.layout.byte_order) if packet else ()
    except DecodersError:
        read = ()
    expected = b""
    message = covered_by(case.layout, case.checksum, case.head, case.core(contents)) if contents else None
    if message is not None and case.checksum.size:
        expected = case.checksum.of(message).to_bytes(case.checksum.size, case.layout.checksum_order.value)
    return Explanation(
        taken=case.taken,
        head=contents[: case.head],
        body=body,
        checksum_name=case.checksum.name,
        checksum_stated=case.stated_of(contents) if contents else b"",
        checksum_expected=expected,
        fault=fault,
        id=case.id_of(body) if contents else None,
        packet=packet,
        is_guessed=is_guessed,
        readings=read,
        hypotheses=ranked(hypotheses),
    )
