"""What one vehicle's service says of itself: the model of the health file, and how things stand by it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from typing import Any, Literal
from zoneinfo import ZoneInfo

from pydantic import Field

from monitor.base.alarms import Alarm
from monitor.base.condition import Condition
from monitor.base.fields import Moment, Number, Part
from monitor.base.results import ClockStep

Outcome = Literal["done", "failed", "waiting"]


class Link(Part):
    """The logger's link: its state, since when, and why; how the logger is called."""

    logger: str
    state: str = "opening"
    why: str = ""
    since: Moment


class JobRun(Part):
    """A job's last run: when, what came of it; and when it is due again."""

    at: Moment | None = None
    outcome: Outcome = "waiting"
    text: str = ""
    due: Moment | None = None


class Health(Part):
    """One vehicle's service.

    zone            of the vehicle, in which times are shown; None: this computer's
    written         when this was written; one that is old belongs to a service that is gone or stuck
    last_sample     time of the newest sample; last_arrival: when it came, on this computer's clock
    rate_hz         samples a second over the last minute; None: none in it
    samples         taken since the service started
    refused         rows of the logger refused, since the journal was begun
    position        of the journal; checkpoint: when the watch's state was last kept (data time)
    waiting_bytes   samples that could not be written yet; dropped: rows lost for want of room for them
    condition       what the vehicle is doing; None: not known yet
    watch           on; rebuilt: after a fault; off: after another; watch_why: the fault
    hushed_until    no alarm is announced until then; 1969: until told otherwise
    clock_why       why this computer's clock cannot be trusted, empty when it can
    troubles        what stands, in words
    parts           what other parts of the service say of themselves
    """

    vehicle: str
    zone: str | None = None
    pid: int
    version: str
    started: Moment
    written: Moment
    link: Link
    last_sample: Moment | None = None
    last_arrival: Moment | None = None
    rate_hz: Number | None = None
    samples: int = 0
    refused: dict[str, int] = Field(default_factory=dict)
    position: int = 0
    checkpoint: Moment | None = None
    waiting_bytes: int = 0
    dropped: int = 0
    condition: Condition | None = None
    watch: Literal["on", "rebuilt", "off"] = "on"
    watch_why: str = ""
    rules: str | None = None
    hushed_until: Moment | None = None
    alarms: list[Alarm] = Field(default_factory=list)
    disk_free_bytes: int | None = None
    clock_why: str = ""
    clock_steps: list[ClockStep] = Field(default_factory=list)
    jobs: dict[str, JobRun] = Field(default_factory=dict)
    restarts: dict[str, int] = Field(default_factory=dict)
    troubles: list[str] = Field(default_factory=list)
    parts: dict[str, Any] = Field(default_factory=dict)

    @property
    def shown_in(self) -> tzinfo | None:
        """The zone in which times are shown; None: this computer's."""
        return None if self.zone is None else ZoneInfo(self.zone)


@dataclass(frozen=True, slots=True)
class Standing:
    """How one vehicle's service stands.

    running   whether a process holds the vehicle's data
    health    what it last wrote; None: never
    problems  what needs a person, a sentence each
    storage   figures from the journal that the health file does not hold, (label, text)
    """

    vehicle: str
    running: bool
    health: Health | None
    problems: list[str]
    storage: list[tuple[str, str]]

    @property
    def exit_code(self) -> int:
        """0 all is well, 1 a person is needed, 3 the service does not run."""
        return 3 if not self.running else 1 if self.problems else 0

    def plain(self) -> dict[str, Any]:
        """As plain data for JSON."""
        return {
            "running": self.running,
            "problems": self.problems,
            "storage": self.storage,
            "health": None if self.health is None else self.health.model_dump(mode="json"),
        }
