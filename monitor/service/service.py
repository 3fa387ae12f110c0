"""The service: vehicles under one roof, signals, the service manager, and the end.

SIGTERM and SIGINT: all is written and closed within END_S. SIGHUP: vehicle files and rules are read again; a file that
cannot be used is told with its line, and what was in force stays.
"""

from __future__ import annotations

import logging
import os
import signal
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import NoReturn

from monitor import __version__
from monitor.base.errors import KeyoffError
from monitor.service import aside
from monitor.service.clock import ClockWatch
from monitor.service.jobs import Jobs
from monitor.service.memory import give_back, one_pool
from monitor.service.place import data_folder, homes
from monitor.service.station import Station
from monitor.service.systemd import Manager
from monitor.service.telling import LOG, set_up

TICK_S = 1.0  # our choice: steps of the clock, dead threads and signals are seen within it
END_S = 1.8  # our choice: asked are 2 s
GIVE_BACK_S = 60.0  # our choice: memory that a backlog or a job took is not kept for long
PROGRESS_S = 30.0  # our choice: a keeper that has not finished a step for so long does not make progress


class Service:
    """Runs stations until told to stop.

    reload  reads one station's files again: True when something changed; raises SettingError
    """

    def __init__(
        self,
        stations: Sequence[Station],
        jobs: Jobs,
        manager: Manager,
        reload: Callable[[Station], bool] = lambda station: False,
        clock_watch: ClockWatch | None = None,
    ) -> None:
        self.stations, self.jobs, self.manager, self._reload = stations, jobs, manager, reload
        self._clock_watch = clock_watch or ClockWatch()
        self._stop = threading.Event()
        self._again = threading.Event()
        self._wake = threading.Event()
        self._fed_s = 0.0
        self._given_back_s = 0.0

    def run(self) -> bool:
        """Until `end`; whether all came to an end in time."""
        self._clock_watch.look()
        for station in self.stations:
            station.clock_watch = self._clock_watch
            station.start()
        self.jobs.start()
        LOG.info("keyoff %s watches %s", __version__, ", ".join(s.vehicle.name for s in self.stations))
        self.manager.say(READY=1, STATUS=self._status())
        while not self._stop.is_set():
            self._wake.wait(TICK_S)
            self._wake.clear()
            if self._again.is_set():
                self._again.clear()
                self.reload()
            self.tick()
        return self._end()

    def end(self) -> None:
        """Let `run` come to an end; may be called from a signal handler."""
        self._stop.set()
        self._wake.set()

    def again(self) -> None:
        """Let the files be read again; may be called from a signal handler."""
        self._again.set()
        self._wake.set()

    def tick(self) -> None:
        """What the main thread looks at each second."""
        step = self._clock_watch.look()
        if step is not None:
            LOG.warning("this computer's clock was set by %+.1f s", step.size_us / 1e6)
            self.jobs.clock_stepped()
        for station in self.stations:
            station.look()
        limit_s = self.manager.watchdog_s
        now = time.monotonic()
        if now - self._given_back_s >= GIVE_BACK_S:
            self._given_back_s = now
            give_back()
        if limit_s and now - self._fed_s >= limit_s / 2 - TICK_S and all(s.alive(PROGRESS_S) for s in self.stations):
            self._fed_s = now
            self.manager.say(WATCHDOG=1, STATUS=self._status())

    def reload(self) -> None:
        """Read each vehicle's files again; what cannot be used is told, and what was in force stays."""
        self.manager.reloading()
        for station in self.stations:
            try:
                changed = self._reload(station)
                LOG.info("%s: rules read again%s", station.vehicle.name, "" if changed else ": nothing changed")
            except KeyoffError as wrong:
                LOG.error("%s: the rules in force stay: %s; %s", station.vehicle.name, wrong.what, wrong.remedy)
        self.manager.say(READY=1, STATUS=self._status())

    def _status(self) -> str:
        speaking = sum(station.keeper.reader.state == "speaking" for station in self.stations)
        alarms = sum(len(station.keeper.alarms) for station in self.stations)
        return f"{speaking} of {len(self.stations)} loggers speak, {alarms} alarms standing"

    def _end(self) -> bool:
        self.manager.say(STOPPING=1)
        deadline_s = time.monotonic() + END_S
        self.jobs.stop()
        ends = [
            threading.Thread(target=station.stop, args=(deadline_s,), name=f"end {station.vehicle.name}", daemon=True)
            for station in self.stations
        ]
        for end in ends:
            end.start()
        for end in ends:
            end.join(max(0.0, deadline_s + 0.1 - time.monotonic()))
        clean = not any(end.is_alive() for end in ends)
        LOG.info("stopped" if clean else "stopped before all was closed; what was committed is safe")
        return clean


def watch(files: Sequence[Path], data: Path | None, environment: Mapping[str, str] = os.environ) -> NoReturn:
    """Run the service in the foreground, then end the process. Raises KeyoffError for what cannot be used."""
    from monitor.service.build import build, reload_rules, vehicles

    one_pool()
    cars = vehicles(files)
    places = homes(data_folder(data, environment), [car.name for car, _ in cars])
    handler = set_up(environment)
    try:
        jobs = Jobs()
        stations = [build(car, file, home, jobs) for (car, file), home in zip(cars, places, strict=True)]
        service = Service(stations, jobs, Manager(environment), reload_rules)
        for name in (signal.SIGTERM, signal.SIGINT):
            signal.signal(name, lambda *_: service.end())
        signal.signal(signal.SIGHUP, lambda *_: service.again())
        service.run()
    finally:
        logging.getLogger().removeHandler(handler)
        aside.end()
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(0)  # all is closed; a thread that hangs must not hold the process, nor the taking apart of libraries
