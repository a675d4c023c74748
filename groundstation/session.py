"""What a page needs of whoever holds the timeline: a live station, or a replayed recording."""

from typing import Protocol

from groundstation.operator_actions import Action
from groundstation.timeline import Timeline


class Session(Protocol):
    """A timeline, and whether it still grows.

    A live session's present is `now_ns()`, which goes on while nothing is received; a replay's is its end.
    """

    @property
    def timeline(self) -> Timeline:
        """What is shown."""
        ...

    @property
    def live(self) -> bool:
        """Whether the timeline still grows."""
        ...

    @property
    def title(self) -> str:
        """Such as the recording's file name."""
        ...

    def now_ns(self) -> int:
        """The session's present [ns]."""
        ...

    async def changed(self, timeout_s: float) -> None:
        """Return when the timeline has grown since the last tick, or after `timeout_s`."""
        ...

    async def act(self, action: Action) -> str | None:
        """Enter what the operator did into the session; None, or why it is refused, in a sentence."""
        ...

    def status_lines(self) -> tuple[str, ...]:
        """One sentence each on the links, the recording and MQTT, for the status corner."""
        ...
