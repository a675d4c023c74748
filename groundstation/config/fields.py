"""Fields of a packet in a vehicle file, and bits of fields."""

import math
import re
from collections.abc import Iterator
from typing import Literal

import numpy as np
from pydantic import Field

from decoders.calibration import Calibration, DegreesMinutes, Points, Polynomial
from decoders.layout import WireKind
from groundstation.config.filetable import Count, FileTable, Flag, Found, Number
from groundstation.config.quantities import is_unit, shown
from groundstation.config.spelling import did_you_mean
from groundstation.config.wire import EXPECTED_TYPE, WireType, column_unit, nearest_type, raw_range, wire_type
from groundstation.measurements import CALLSIGN, MAX_PYRO_CHANNEL, measurement, names

ATTITUDE = "attitude"
"""The meaning of a quaternion: its columns mean attitude_w to attitude_z."""

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")
_PYRO_NUMBER = re.compile(r"pyro_([0-9]+)_")
_MOST_ELEMENTS = 256
_DEGREES_MINUTES = "degrees and minutes"

_UNIT_TEXT = "unit of the value that scale and offset make of the raw number"
_SCALE_TEXT = "value = raw number * scale + offset"
_VALID_TEXT = "[least, greatest] in `unit`: what the sensor can tell, beyond which a value counts as unknown"
_MEANING_TEXT = "the standard measurement that the field carries"
_NAME_TEXT = "letters, digits, underscores and hyphens; the column's name"
_LABELS_TEXT = "names for raw numbers, for people"


class BitEntry(FileTable):
    """Some bits of a field: `at` counts from the least significant bit."""

    name: str = Field(description=_NAME_TEXT)
    at: Count = Field(ge=0, le=63, description="place of the lowest bit, counted from the least significant bit")
    width: Count = Field(default=1, ge=1, le=64, description="number of bits")
    scale: Number = Field(default=1.0, description=_SCALE_TEXT)
    offset: Number = Field(default=0.0, description=_SCALE_TEXT)
    unit: str = Field(default="1", description=_UNIT_TEXT)
    valid: tuple[Number, Number] | None = Field(default=None, description=_VALID_TEXT)
    labels: tuple[tuple[Count, str], ...] = Field(default=(), description=_LABELS_TEXT)
    meaning: str | None = Field(default=None, description=_MEANING_TEXT)
    text: str = Field(default="", description="what the bits say, for people")

    def faults(self) -> Iterator[Found]:
        """A name, unit, meaning, label or range that cannot be."""
        yield from name_faults(self.name)
        yield from _value_faults(self, raw_range(WireKind.UNSIGNED, self.width), None)
        if self.meaning in ("sequence", "layout_fingerprint", "vehicle_address"):
            text = f"found {shown(self.meaning)} on bits of a field, expected it on a field of its own"
            yield Found(("meaning",), text)


_BARE_MEANINGS = {WireKind.TEXT: CALLSIGN, WireKind.QUATERNION: ATTITUDE}


class FieldEntry(FileTable):
    """One field of a packet; a field with `bits` is only what holds them, and no column of its own."""

    name: str = Field(description=_NAME_TEXT)
    type: str = Field(description="u8, i16, f32, bool and others: see the types of a field below")
    count: Count = Field(
        default=1, ge=1, le=_MOST_ELEMENTS, description="so many of them, one behind the other: name[0], name[1] …"
    )
    unit: str = Field(default="1", description=_UNIT_TEXT)
    scale: Number = Field(default=1.0, description=_SCALE_TEXT)
    offset: Number = Field(default=0.0, description=_SCALE_TEXT)
    polynomial: tuple[Number, ...] | None = Field(
        default=None, description="[a, b, c …] instead of scale and offset: value = a + b * raw + c * raw^2 …"
    )
    table: tuple[tuple[Number, Number], ...] | None = Field(
        default=None,
        description="points [raw, value] instead of scale and offset; straight lines between them, unknown beyond",
    )
    form: Literal["degrees and minutes"] | None = Field(
        default=None, description="raw number * scale is ddmm.mmmm: 4717.114 is 47 degrees and 17.114 minutes"
    )
    letter: str | None = Field(
        default=None, description="with that form: the field of this packet that holds the letter N, S, E or W"
    )
    valid: tuple[Number, Number] | None = Field(default=None, description=_VALID_TEXT)
    labels: tuple[tuple[Count, str], ...] = Field(default=(), description=_LABELS_TEXT)
    meaning: str | None = Field(
        default=None, description=f'{_MEANING_TEXT}; "attitude" for all four parts of a quaternion'
    )
    meanings: tuple[str, ...] = Field(default=(), description="of an array, for each element in turn")
    optional: Flag = Field(
        default=False,
        description="true where the packet may end before this field; later fields are then missing too",
    )
    bits: tuple[BitEntry, ...] = Field(default=(), description="what single bits of an unsigned field say")
    text: str = Field(default="", description="what the field says, for people")

    @property
    def wire(self) -> WireType:
        """The type, which is one that exists once the file is checked."""
        found = wire_type(self.type)
        assert found is not None
        return found

    @property
    def span(self) -> int:
        """Bits that it takes in the packet."""
        return self.wire.bits * self.count

    @property
    def curve(self) -> Calibration | None:
        """From raw numbers to values in `unit`, where that is more than scale and offset."""
        if self.polynomial is not None:
            return Polynomial(self.polynomial)
        if self.table is not None:
            return Points(tuple(raw for raw, _ in self.table), tuple(value for _, value in self.table))
        if self.form is not None:
            return DegreesMinutes(round(1.0 / self.scale), self.letter or "")
        return None

    @property
    def every_meaning(self) -> tuple[str | None, ...]:
        """The meaning of each column in turn."""
        if self.meaning == ATTITUDE and self.wire.kind is WireKind.QUATERNION:
            return tuple(f"{ATTITUDE}_{part}" for part in "wxyz")
        columns = 4 * self.count if self.wire.kind is WireKind.QUATERNION else self.count
        return self.meanings or (self.meaning, *([None] * (columns - 1)))

    def faults(self) -> Iterator[Found]:
        """A name, type, unit, meaning, curve or range that cannot be, and bits that collide."""
        yield from name_faults(self.name)
        known = wire_type(self.type)
        if known is None:
            yield Found(("type",), f"found {shown(self.type)}, {EXPECTED_TYPE}{nearest_type(self.type)}")
            return
        if self.bits:
            yield from self._container_faults(known)
            return
        if known.kind is None or known.kind in (WireKind.TEXT, WireKind.QUATERNION):
            yield from self._bare_faults(known.kind)
            return
        curve_faults = list(self._curve_faults())
        yield from curve_faults
        least, greatest = raw_range(known.kind, known.bits)
        curve = None if curve_faults else self.curve
        yield from _value_faults(self, (least * known.scale, greatest * known.scale), curve)
        yield from self._meanings_faults()
        if known.kind is WireKind.BOOLEAN:
            yield from self._plain("on a bool, expected none: a bool is 0 or 1")
        if self.meaning == "sequence":
            if known.kind is not WireKind.UNSIGNED or known.scale != 1:
                yield Found(("type",), f'found {shown(self.type)} for the meaning "sequence", expected u8 to u64')
            yield from self._plain('on the meaning "sequence", expected none: it counts packets')
        if self.meaning == "layout_fingerprint":
            if self.type != "u32":
                yield Found(("type",), f'found {shown(self.type)} for the layout\'s fingerprint, expected "u32"')
            yield from self._plain("on a fingerprint, expected none: it is a number and measures nothing")

    def _given(self, *keys: str) -> Iterator[tuple[str, object]]:
        """Those of the keys that are not as if left out."""
        for key in keys:
            value = getattr(self, key)
            if value != type(self).model_fields[key].default:
                yield key, value

    def _plain(self, text: str) -> Iterator[Found]:
        for key, value in self._given("unit", "scale", "offset", "polynomial", "table", "form"):
            yield Found((key,), f"found {shown(value)} {text}")

    def _bare_faults(self, kind: WireKind | None) -> Iterator[Found]:
        """Text, quaternions and padding: nothing but their bits."""
        keys = ["unit", "scale", "offset", "polynomial", "table", "form", "letter", "valid", "labels", "meanings"]
        if kind is not WireKind.QUATERNION or self.meaning != ATTITUDE:
            keys.append("meaning")
        if kind is WireKind.TEXT and self.meaning == CALLSIGN:
            keys.remove("meaning")
            if self.count > 1:
                yield Found(("count",), f"found {self.count} of the callsign, expected one")
        for key, value in self._given(*keys):
            found = f"found {shown(value)} on {shown(self.type)}"
            wanted = (
                f', expected "{_BARE_MEANINGS[kind]}" or none' if key == "meaning" and kind in _BARE_MEANINGS else ""
            )
            yield Found((key,), found + (wanted or ", expected none"))
        if self.meaning == ATTITUDE and self.count > 1:
            yield Found(("count",), f"found {self.count} of the attitude, expected one")

    def _meanings_faults(self) -> Iterator[Found]:
        if self.meaning is not None and self.count > 1:
            yield Found(("meaning",), f"found {shown(self.meaning)} on {self.count} elements, expected meanings")
        if self.meanings and len(self.meanings) != self.count:
            text = f"found {len(self.meanings)} meanings, expected one for each of {self.count}"
            yield Found(("meanings",), text)
        for place, meaning in enumerate(self.meanings):
            if meaning == "sequence" or measurement(meaning) is None:
                yield Found(("meanings", place), meaning_text(meaning))
            else:
                yield from _unit_faults(self, meaning, ("unit",))

    def _curve_faults(self) -> Iterator[Found]:
        given = list(self._given("polynomial", "table", "form"))
        for key, value in given[1:]:
            yield Found((key,), f"found {shown(value)} beside {given[0][0]}, expected one of them")
        if self.polynomial is not None and len(self.polynomial) < 2:
            yield Found(("polynomial",), f"found {shown(self.polynomial)}, expected two or more numbers")
        if self.polynomial is not None or self.table is not None:
            for key, value in self._given("scale", "offset"):
                yield Found((key,), f"found {shown(value)} beside {given[0][0]}, expected one or the other")
        if self.table is not None:
            raws = [raw for raw, _ in self.table]
            if len(raws) < 2 or raws != sorted(set(raws)):
                yield Found(("table",), f"found the raw numbers {shown(raws)}, expected two or more, rising")
        if self.form is not None:
            yield from self._position_faults()
        elif self.letter is not None:
            yield Found(("letter",), f'found {shown(self.letter)}, expected it beside form = "{_DEGREES_MINUTES}"')

    def _position_faults(self) -> Iterator[Found]:
        per_minute = 0.0 if self.scale == 0 else 1.0 / self.scale
        if not 1.0 <= per_minute <= 1e12 or abs(per_minute - round(per_minute)) > 1e-6 * per_minute:
            text = f"found {self.scale:g}, expected 1, 0.1, 0.01 or smaller: one over a whole number"
            yield Found(("scale",), text)
        if self.offset != 0:
            yield Found(("offset",), f"found {self.offset:g} on degrees and minutes, expected none")
        if self.unit != "deg":
            found = shown(self.unit) if "unit" in self.model_fields_set else "no unit"
            yield Found(("unit",), f'found {found}, expected "deg": minutes are turned into degrees')

    def _container_faults(self, known: WireType) -> Iterator[Found]:
        if known.kind is not WireKind.UNSIGNED or known.scale != 1:
            yield Found(("type",), f"found {shown(self.type)} on a field with bits, expected u8 to u64")
        elif known.bits % 8:
            yield Found(("type",), f"found {shown(self.type)} on a field with bits, expected whole bytes such as u8")
        keys = ("count", "unit", "scale", "offset", "polynomial", "table", "form", "valid", "labels", "meaning")
        for key, value in self._given(*keys, "meanings"):
            yield Found((key,), f"found {shown(value)} on a field with bits, expected it on one of the bits")
        taken: dict[int, str] = {}
        for place, part in enumerate(self.bits):
            last = part.at + part.width - 1
            if last >= known.bits:
                span = f"bit {last}" if part.width == 1 else f"bits {part.at} to {last}"
                text = f"found {span}, expected bits from 0 to {known.bits - 1} of the {self.type}"
                yield Found(("bits", place), text)
            for bit in range(part.at, last + 1):
                if bit in taken:
                    text = f"found bit {bit}, which belongs to {shown(taken[bit])}, expected a bit of its own"
                    yield Found(("bits", place), text)
                    break
                taken[bit] = part.name


def name_faults(name: str) -> Iterator[Found]:
    """A name that cannot be one."""
    if not _NAME.fullmatch(name):
        yield Found(
            ("name",), f"found {shown(name)}, expected a letter, then letters, digits, underscores and hyphens"
        )


def _value_faults(
    entry: FieldEntry | BitEntry, raw: tuple[float, float], curve: Calibration | None
) -> Iterator[Found]:
    """What a field or bits have wrong in scale, labels, meaning, unit and valid range."""
    if entry.scale == 0:
        yield Found(("scale",), "found 0, expected any other number: every value would be the same")
    for place, (number, _) in enumerate(entry.labels):
        if not raw[0] <= number <= raw[1]:
            text = f"found {number}, expected a raw number from {raw[0]:.10g} to {raw[1]:.10g}"
            yield Found(("labels", place), text)
    if entry.meaning is not None and measurement(entry.meaning) is None:
        yield Found(("meaning",), meaning_text(entry.meaning))
    yield from _unit_faults(entry, entry.meaning, ("unit",))
    if entry.valid is None:
        return
    least, greatest = entry.valid
    if not least < greatest:
        yield Found(("valid",), f"found {shown(entry.valid)}, expected the least value first, then the greatest")
        return
    ends = _reach(entry, raw, curve)
    if ends[1] < least or ends[0] > greatest:
        unit = "" if entry.unit == "1" else f" {entry.unit}"
        text = (
            f"found {shown(entry.valid)}, expected a range that the field can reach: "
            f"it goes from {ends[0]:.10g} to {ends[1]:.10g}{unit}"
        )
        yield Found(("valid",), text)


def _reach(entry: FieldEntry | BitEntry, raw: tuple[float, float], curve: Calibration | None) -> tuple[float, float]:
    """The least and the greatest value that the raw numbers between two can mean."""
    if curve is None:
        low, high = sorted(r * entry.scale + entry.offset for r in raw)
        return low, high
    if isinstance(curve, DegreesMinutes):
        return -180.0, 180.0
    if isinstance(curve, Points):
        return min(curve.value), max(curve.value)
    if not all(map(math.isfinite, raw)):
        return -math.inf, math.inf
    values = curve.values(np.linspace(*raw, 1025))
    return float(values.min()), float(values.max())


def _unit_faults(entry: FieldEntry | BitEntry, meaning: str | None, path: tuple[str]) -> Iterator[Found]:
    if not is_unit(entry.unit):
        yield Found(path, f'found {shown(entry.unit)}, which is not known, expected a unit such as "mV"')
        return
    try:
        column_unit(entry.unit, meaning)
    except ValueError:
        known = measurement(meaning or "")
        assert known is not None
        found = "no unit" if "unit" not in entry.model_fields_set else shown(entry.unit)
        wanted = "no unit" if known.unit == "1" else f"a unit that converts to {known.unit}"
        yield Found(path, f'found {found}, expected {wanted} for the meaning "{meaning}"')


def meaning_text(meaning: str) -> str:
    """What to say of a meaning that does not exist."""
    if meaning == CALLSIGN:
        return f'found {shown(meaning)} on a number, expected it on a field of text such as "text10"'
    known = names()
    match = _PYRO_NUMBER.match(meaning)
    if match is not None:
        if not 1 <= int(match[1]) <= MAX_PYRO_CHANNEL:
            return f"found {shown(meaning)}, expected a channel from 1 to {MAX_PYRO_CHANNEL}"
        known = [name.replace("_N_", f"_{int(match[1])}_") for name in known]
    return f"found {shown(meaning)}, expected the name of a standard measurement{did_you_mean(meaning, known)}"
