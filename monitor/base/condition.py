"""What a vehicle is doing now, as far as the data tell."""

from __future__ import annotations

from typing import Literal

from monitor.base.fields import Moment, Number, Part


class Condition(Part):
    """What the vehicle is doing.

    state    running: the engine; stopping: nothing has proved a running engine since then, and a stop is not certain
             yet; standing: the log has no current to tell more; settling: not asleep yet; asleep;
             awake: a wake-up is going on
    since    data time; asleep counts from when it fell asleep, whatever woke it since
    sleep_a  drain at which it sleeps, A; None: not known
    wakes    wake-ups of this stand that are over

    A stop shows once it is certain, which can be up to 20 minutes of data late, and then with its true beginning.
    """

    state: Literal["running", "stopping", "standing", "settling", "asleep", "awake"]
    since: Moment
    sleep_a: Number | None = None
    wakes: int = 0
