"""`groundstation checks`: every check with its limits for one vehicle, and where each comes from."""

import argparse
import re
import textwrap
from collections.abc import Iterator

from groundstation.cli.command import Command
from groundstation.cli.files import add_vehicle_argument
from groundstation.config.load import load_vehicle
from groundstation.config.quantities import Quantity, shown, unit_to_si
from groundstation.config.telemetry import sources_of
from groundstation.config.vehicle import Limits, Vehicle
from groundstation.readiness import checks as register
from groundstation.readiness.check import Check

_WIDTH = 100
_KEY = re.compile(r"\[(\w+)\] (\w+)")
# Limits no single check goes by: they say when the verdict may be GO, and how old values may be.
_OF_ALL = ("settling_time_s", "packet_age_s", "health_age_s")


def _add_arguments(parser: argparse.ArgumentParser) -> None:
    add_vehicle_argument(parser)


def _run(arguments: argparse.Namespace) -> int:
    for line in check_lines(load_vehicle(arguments.vehicle)):
        print(line)
    return 0


def check_lines(vehicle: Vehicle) -> Iterator[str]:
    """The listing: what holds for all checks, then each check, gravest first."""
    yield f"{len(register.CHECKS)} checks for {vehicle.name}, gravest first"
    yield ""
    yield "for all"
    for attribute in _OF_ALL:
        yield from _limit_lines(vehicle.limits, attribute)
    sent = {name for name in sources_of(vehicle) if "." not in name}
    for check in register.CHECKS:
        yield ""
        yield f"{check.name} ({check.place})"
        yield from _wrapped(check.text, "  ")
        for attribute in check.limits:
            yield from _limit_lines(vehicle.limits, attribute)
        for figure in check.figures:
            value = _stated(vehicle, figure.value)
            yield from _wrapped(f"{figure.what}: {value}; from: {figure.source}", "    ", hanging="      ")
        yield from _need_lines(check, vehicle, sent)
    yield ""
    yield "Limits are set under [limits] in the vehicle file. Published codes hold where they were adopted;"
    yield "local rules decide. Advice, not permission: the range safety officer decides, and continuity is"
    yield "not safety."


def _limit_lines(limits: Limits, attribute: str) -> Iterator[str]:
    """One limit as the file would write it, with its meaning and where its value comes from."""
    field = Limits.model_fields[attribute]
    extra = field.json_schema_extra
    source = str(extra["source"]) if isinstance(extra, dict) else ""
    value, default = getattr(limits, attribute), getattr(Limits(), attribute)
    origin = f"default: {source}"
    if attribute in limits.model_fields_set:
        origin = "vehicle file" + (f", as the default: {source}" if value == default else "")
    key = field.alias or attribute
    yield from _wrapped(
        f"{key} = {_as_written(attribute, value)}: {field.description}; from: {origin}", "    ", hanging="      "
    )


def _as_written(attribute: str, value: float) -> str:
    """A limit's value in the unit that its default is written in."""
    field = Limits.model_fields[attribute]
    quantity = next((mark for mark in field.metadata if isinstance(mark, Quantity)), None)
    if quantity is None:
        return f"{value:.6g}"
    unit = str(field.default).split(" ", 1)[1]
    scale, bias = unit_to_si(unit, quantity.unit)
    return shown(f"{(value - bias) / scale:.6g} {unit}")


def _stated(vehicle: Vehicle, value: str) -> str:
    """A figure's value; where it is a key of the vehicle file, such as "[camera] current", what that says."""
    match = _KEY.fullmatch(value)
    if match is None:
        return value
    table = getattr(vehicle, match[1], None)
    if table is None:
        return f"{value}, not stated, so not asked for"
    attribute, field = next(
        (name, field) for name, field in type(table).model_fields.items() if match[2] in (field.alias, name)
    )
    stated = getattr(table, attribute)
    if stated is None:
        return f"{value}, not stated, so not asked for"
    found = re.search(r"Quantity\(unit='([^']+)'", repr(field.annotation) + repr(field.metadata))
    numbers = stated if isinstance(stated, tuple) else (stated,)
    text = " to ".join(f"{n:g}" if isinstance(n, float) else str(n) for n in numbers)
    return f"{value} = {text}{' ' + found[1] if found else ''}"


def _need_lines(check: Check, vehicle: Vehicle, sent: set[str]) -> Iterator[str]:
    needs = list(check.needs(vehicle))
    if needs:
        yield from _wrapped("needs: " + ", ".join(" or ".join(names) for names in needs), "    ", hanging="      ")
    missing = [" or ".join(names) for names in needs if not sent.intersection(names)]
    if missing:
        yield from _wrapped(f"not sent, so HOLD: {', '.join(missing)}", "    ", hanging="      ")


def _wrapped(text: str, indent: str, *, hanging: str | None = None) -> list[str]:
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=indent,
        subsequent_indent=indent if hanging is None else hanging,
        break_on_hyphens=False,
    )


CHECKS = Command(
    name="checks",
    summary="every check with its limits and where each comes from",
    paragraph="""\
Lists the checks that GO depends on, gravest first, as they apply to one vehicle: what each
asks for, its limits as the vehicle file or the default sets them, and where each comes from:
the vehicle file, a published source, or common practice without one. It also names the
measurements a check cannot do without, and those the vehicle does not send.""",
    examples=(
        ("groundstation checks my-vehicle.toml", "the checks and limits for your vehicle"),
        ("groundstation checks", "the example vehicle's"),
    ),
    never="It judges nothing and changes no file, and nothing is ever sent to the vehicle.",
    add_arguments=_add_arguments,
    run=_run,
)
