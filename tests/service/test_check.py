"""The fitting check: a scripted logger and person, a clock that the polls move, and what is found."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pytest

from monitor.assess.fitting import Finding
from monitor.base.ledger import RefusedLine
from monitor.base.vehicle import Vehicle
from monitor.service.check import LAMPS, OFF, RESTORE, ZERO, World, certain, check
from monitor.service.destinations import Outcome
from monitor.service.listener import Listener
from monitor.sources.live.arrival import Arrival, LinkState
from monitor.sources.rows import Cells, Fault, Rows

BEGIN_S = 1_764_100_000.0


@dataclass
class Scripted:
    """A logger at 10 Hz: a battery of 12.6 V and 8 mΩ, seen through `sees`; `load_a` is what the vehicle draws."""

    name: str = "scripted"
    identity: str = "INVENTED"
    now_s: float = 0.0
    load_a: float = 0.03
    rested_v: float = 12.65
    ohm: float = 0.008
    every_s: float = 0.1
    state: LinkState = "speaking"
    why: str = ""
    has_amps: bool = True
    ahead_s: float = 0.0
    stamped: bool = False
    sees: Callable[[float], float] = lambda amps: amps
    bad_lines: int = 0

    def __post_init__(self) -> None:
        self._next_s = 0.0

    def poll(self, timeout_s: float) -> Arrival:
        self.now_s += timeout_s
        time.sleep(0)  # who waits for a port lets other threads run; without it they starved for minutes, once
        if self.state != "speaking":
            return Arrival(b"", None, self.state, self.why)
        times = []
        while self._next_s < self.now_s:
            times.append(self._next_s)
            self._next_s += self.every_s
        t_us = np.array([round((BEGIN_S + self.ahead_s + t) * 1e6) for t in times], np.int64)
        true = -self.load_a
        wobble = 0.001 * (np.arange(len(times)) % 3)  # as a converter's last digit
        channels = {"volts": Cells(np.asarray(self.rested_v + true * self.ohm + wobble))}
        if self.has_amps:
            channels["amps"] = Cells(np.array([self.sees(true + w) for w in wobble]))
        place = RefusedLine(self.name, 1, "?")
        faults = (Fault("garbage", self.bad_lines, (place,)),) if self.bad_lines else ()
        return Arrival(b"", Rows(t_us, channels, lambda row: place, faults), "speaking", stamped=self.stamped)

    def close(self) -> None:
        """Nothing to close."""


@dataclass
class Willing:
    """Does as told, and says yes."""

    logger: Scripted
    told: list[str] = field(default_factory=list)
    lamps_a: float = 9.0
    answers: bool | None = True

    def tell(self, text: str) -> bool:
        self.told.append(text)
        if text in (LAMPS, OFF, RESTORE):
            self.logger.load_a = {LAMPS: self.lamps_a, OFF: 0.03, RESTORE: 0.03}[text]
        return True

    def question(self, text: str) -> bool | None:
        self.told.append(text)
        if text == ZERO and self.answers:
            self.logger.load_a = 0.0
        return self.answers

    def note(self, text: str) -> None:
        self.told.append(text)


class Nobody(Willing):
    def tell(self, text: str) -> bool:
        return False

    def question(self, text: str) -> bool | None:
        return None


def findings(
    logger: Scripted, person: Willing | None = None, *, free: int | None = 10**11, **world: Any
) -> list[Finding]:
    vehicle = Vehicle.model_validate({"notices": {"destinations": [{"to": "env:PHONE", "name": "phone"}]}})
    seen = World(
        wall_us=lambda: round((BEGIN_S + logger.now_s) * 1e6),
        unset=world.get("unset", lambda: None),
        free_bytes=lambda: free,
        watched=world.get("watched", lambda: False),
        send=world.get("send", lambda *_: Outcome("sent")),
        monotonic=lambda: logger.now_s,
    )
    return check(vehicle, logger, person or Willing(logger), seen)


def judged(found: list[Finding]) -> dict[str, str]:
    return {one.name: one.judgement for one in found}


def only_mend(found: list[Finding]) -> Finding:
    """The one finding to mend; fails when there is another number of them."""
    (one,) = [one for one in found if one.judgement == "mend"]
    assert one.mend
    return one


def test_a_sound_fitting_has_nothing_to_mend_and_nothing_unknown() -> None:
    assert set(judged(findings(Scripted())).values()) == {"ok"}


def test_it_names_the_instrument_that_speaks() -> None:
    assert "scripted speaks, it is INVENTED" in findings(Scripted())[0].found


def test_a_reversed_sign_is_found_by_the_lamps() -> None:
    one = only_mend(findings(Scripted(sees=lambda amps: -amps)))
    assert (one.name, "as a load was switched: the current is reversed" in one.found) == ("sign", True)


def test_lamps_whose_current_passes_beside_the_logger_are_found() -> None:
    one = only_mend(findings(Scripted(sees=lambda amps: max(amps, -0.03))))
    assert (one.name, "every lead" in str(one.mend)) == ("sign", True)


def test_volts_taken_behind_a_cable_are_found_by_the_lamps() -> None:
    one = only_mend(findings(Scripted(ohm=0.08)))
    assert (one.name, "are 80.0 mΩ; up to" in one.found) == ("sense leads", True)


def test_parking_lamps_show_the_sign_and_leave_the_sense_leads_unknown() -> None:
    logger = Scripted()
    found = judged(findings(logger, Willing(logger, lamps_a=0.8)))
    assert (found["sign"], found["sense leads"]) == ("ok", "unknown")


def test_a_slow_loggers_zero_and_sign_are_waited_for() -> None:
    found = judged(findings(Scripted(every_s=8.0)))
    assert (found["zero"], found["sign"], found["sense leads"]) == ("ok", "ok", "ok")


def test_a_zero_that_is_off_is_found() -> None:
    one = only_mend(findings(Scripted(sees=lambda amps: amps - 0.02)))
    assert one.name == "zero"
    assert '[log] zero_offset = "20 mA"' in str(one.mend)


@pytest.mark.parametrize(("rested_v", "word"), [(14.2, "stop the engine"), (12.1, "charge to 12.4 V"), (11.0, "flat")])
def test_volts_that_no_rested_battery_has_are_found(rested_v: float, word: str) -> None:
    one = only_mend(findings(Scripted(rested_v=rested_v)))
    assert (one.name, word in str(one.mend)) == ("volts", True)


def test_another_batterys_volts_name_the_setting() -> None:
    assert any('nominal = "24 V"' in str(one.mend) for one in findings(Scripted(rested_v=25.3)))


def test_a_coarse_current_is_found() -> None:
    logger = Scripted(sees=lambda amps: round(amps / 0.1) * 0.1 + (0.1 if round(amps * 1000) % 3 == 0 else 0.0))
    found = {one.name: one for one in findings(logger)}
    assert found["resolution (amps)"].judgement == "mend"
    assert "steps of 100 mA" in found["resolution (amps)"].found


def test_a_slow_logger_is_found() -> None:
    found = {one.name: one for one in findings(Scripted(every_s=11.0))}
    assert (found["rate"].judgement, "at least one reading in 10 s" in str(found["rate"].mend)) == ("mend", True)


def test_refused_lines_are_found() -> None:
    assert only_mend(findings(Scripted(bad_lines=1))).name == "lines"


def test_without_amps_it_says_what_stays_unseen() -> None:
    logger = Scripted(has_amps=False)
    person = Willing(logger)
    found = findings(logger, person)
    assert LAMPS not in person.told
    assert judged(found)["columns"] == judged(found)["sign"] == "unknown"
    assert not any(one.judgement == "mend" for one in found)


def test_a_logger_that_says_nothing_is_told_with_its_reason_and_the_rest_is_still_looked_at() -> None:
    found = findings(Scripted(state="port_taken", why="another program has the port open"))
    assert only_mend(found).mend == "another program has the port open"
    assert judged(found) == {"logger": "mend", "clock": "unknown", "disk": "ok", "notices to phone": "ok"}


def test_a_logger_that_falls_silent_meanwhile_is_found() -> None:
    logger = Scripted()

    class Pulls(Willing):
        def tell(self, text: str) -> bool:
            logger.state, logger.why = "unplugged", "the port is gone"
            return super().tell(text)

    found = {one.name: one for one in findings(logger, Pulls(logger))}
    assert (found["logger"].judgement, found["logger"].mend) == ("mend", "the port is gone")


def test_where_nobody_is_asked_what_only_a_person_can_do_is_unknown() -> None:
    logger = Scripted()
    found = judged(findings(logger, Nobody(logger)))
    assert {name for name, one in found.items() if one == "unknown"} == {
        "zero", "sign", "sense leads", "notices to phone",
    }  # fmt: skip


def test_a_full_disk_is_found() -> None:
    assert only_mend(findings(Scripted(), free=250_000_000)).name == "disk"  # a week at 10 Hz: 242 MB, and 200 spare


def test_a_loggers_own_clock_that_is_off_is_found() -> None:
    one = only_mend(findings(Scripted(ahead_s=-3600.0)))
    assert one.found.startswith("the logger gives the times, 60 min behind")


def test_a_clock_that_is_not_set_is_found() -> None:
    one = only_mend(findings(Scripted(stamped=True), unset=lambda: "the time service has not set the clock yet"))
    assert one.name == "clock"


def test_a_notice_that_does_not_arrive_is_found() -> None:
    logger = Scripted()

    class Misses(Willing):
        def question(self, text: str) -> bool | None:
            return super().question(text) and text != "Has it arrived?"

    assert only_mend(findings(logger, Misses(logger))).found == "sent, and did not arrive"


def test_a_destination_that_refuses_is_found() -> None:
    one = only_mend(findings(Scripted(), send=lambda *_: Outcome("barred", "the token is refused")))
    assert "the token is refused" in one.found


def test_the_lamps_are_asked_for_with_the_caution_about_small_shunts() -> None:
    logger = Scripted()
    person = Willing(logger)
    findings(logger, person)
    assert any("rated below 20 A: the parking lamps only" in text for text in person.told)


def test_a_service_that_has_the_port_is_named() -> None:
    one = only_mend(findings(Scripted(state="port_taken", why="another program has it"), watched=lambda: True))
    assert "keyoff status" in str(one.mend)


def test_a_current_into_a_battery_that_nothing_charges_is_found_without_anybody_to_ask() -> None:
    logger = Scripted(sees=lambda amps: -amps)
    assert only_mend(findings(logger, Nobody(logger))).name == "current"


def test_a_sign_that_the_lamps_showed_is_not_told_again_with_the_current() -> None:
    assert "current" not in judged(findings(Scripted(sees=lambda amps: -amps)))


def test_a_port_that_is_taken_is_not_waited_for() -> None:
    logger = Scripted(state="port_taken", why="another program has it")
    findings(logger, Nobody(logger))
    assert logger.now_s < 10.0  # 5 s, not the 30 s that a slow logger is given


@pytest.mark.parametrize(("every_s", "heard_s"), [(0.1, 20.0), (0.5, 50.0), (2.0, 60.0)])
def test_a_fast_steady_logger_is_judged_sooner_and_a_slow_one_gets_its_minute(every_s: float, heard_s: float) -> None:
    logger = Scripted(every_s=every_s)
    listener = Listener(logger, 12.0, lambda: 0, lambda: logger.now_s)
    listener.hear(60.0, certain)
    assert logger.now_s == pytest.approx(heard_s, abs=1.0)  # held rows come up to 0.3 s late, polls are 0.2 s apart


def test_rows_that_a_file_held_before_are_not_taken_for_news() -> None:
    logger = Scripted()
    honest = logger.poll

    def poll(timeout_s: float) -> Arrival:
        arrival = honest(timeout_s)
        if logger.now_s > 1.0 or arrival.rows is None:
            return arrival
        old = replace(arrival.rows, t_us=arrival.rows.t_us - 86_400_000_000)
        return replace(arrival, rows=old, again=True)

    logger.poll = poll  # type: ignore[method-assign]  # the scripted logger is our own
    assert judged(findings(logger))["rate"] == "ok"  # no pause of a day
