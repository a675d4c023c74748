"""What a command is: its name, what its help teaches, its arguments, and what it does."""

import argparse
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Command:
    """One command of the command line.

    `summary` stands in the list of commands, `paragraph` at the head of its own help, `examples` (each with what it
    does), `notes` and `never` at its end. `run` returns the exit code.
    """

    name: str
    summary: str
    paragraph: str
    examples: tuple[tuple[str, str], ...]
    never: str
    add_arguments: Callable[[argparse.ArgumentParser], None]
    run: Callable[[argparse.Namespace], int]
    notes: str = ""

    @property
    def epilog(self) -> str:
        """The end of the help."""
        lines = ["examples:"]
        for line, what in self.examples:
            lines += [f"  {line}", f"      {what}"]
        notes = [self.notes, ""] if self.notes else []
        return "\n".join([*lines, "", *notes, self.never])


class Parser(argparse.ArgumentParser):
    """Takes the names of a list also after options, which argparse itself does not: `bench FILE --link URL NAME`."""

    def parse_known_args(  # type: ignore[override]
        self, args: Sequence[str] | None = None, namespace: argparse.Namespace | None = None
    ) -> tuple[argparse.Namespace, list[str]]:
        """As argparse's own; names left over go to the one list there is."""
        found, left = super().parse_known_args(args, namespace)
        lists = [action.dest for action in self._actions if action.nargs == "*" and not action.option_strings]
        if lists and left and not any(word.startswith("-") for word in left):
            getattr(found, lists[0]).extend(left)
            left = []
        return found, left


def seconds_from_zero(text: str) -> float:
    """A number of seconds, 0 or more, for argparse."""
    value = _number(text)
    if value < 0.0:
        raise argparse.ArgumentTypeError(f"found {text}, expected a number of seconds from 0 up")
    return value


def seconds_above_zero(text: str) -> float:
    """A number of seconds above 0, for argparse."""
    value = _number(text)
    if value <= 0.0:
        raise argparse.ArgumentTypeError(f"found {text}, expected a number of seconds above 0")
    return value


def port_number(text: str) -> int:
    """A port to listen at, for argparse; 0 takes a free one."""
    if not text.isascii() or not text.isdecimal() or int(text) > 65535:
        raise argparse.ArgumentTypeError(f"found {text!r}, expected a port from 0 to 65535 (0 takes a free one)")
    return int(text)


def _number(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e9:  # also refuses NaN
        raise argparse.ArgumentTypeError(f"found {text!r}, expected a number of seconds")
    return value
