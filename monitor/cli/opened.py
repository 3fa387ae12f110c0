"""What `replay` and `confirm` read: recorded logs, or what a service has kept of a vehicle, with its settings."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from monitor.base.documents import load_document
from monitor.base.vehicle import Vehicle
from monitor.base.window import Window
from monitor.store.home import Home, data_at

if TYPE_CHECKING:
    from monitor.base.results import Mark
    from monitor.base.samples import Block
    from monitor.limits.rules import Rules
    from monitor.sources import RecordedLog
    from monitor.sources.recorded import Progress
    from monitor.store.span import Span

Sign = Literal["as-logged", "reversed"]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is to be read, before any of it is.

    car    of the vehicle file, else as the service had it, else nothing known
    rules  as the service had them; None: a vehicle file was given, or there is no service's data
    data   the service's data of this vehicle; None: recorded logs
    """

    logs: list[Path]
    car: Vehicle
    rules: Rules | None = None
    data: Home | None = None


def asked(logs: list[Path], vehicle: Path | None) -> Asked:
    """What these paths are, and whose; raises SettingError, or StoreError where a journal cannot be read."""
    data = data_at(logs[0]) if len(logs) == 1 else None
    if vehicle is not None or data is None:
        return Asked(logs, load_document(vehicle, Vehicle) if vehicle else Vehicle(), data=data)
    from monitor.store.reader import JournalReader
    from monitor.store.settings import kept_settings

    with JournalReader(data) as reader:
        kept = kept_settings(reader)
    return Asked(logs, kept.vehicle, kept.rules, data) if kept else Asked(logs, Vehicle(), data=data)


def opened(what: Asked, window: Window, sign: Sign, progress: Progress | None) -> tuple[RecordedLog | Span, list[Mark]]:
    """The log, ready to be read, and the marks that were set while it was made; raises InputError or StoreError."""
    if what.data is not None:
        from monitor.store.span import open_span

        span = open_span(what.data.folder, window.start_us, window.end_us)
        return span, span.marks()
    from monitor.sources import open_logs

    log = open_logs(
        what.logs,
        what.car.log,
        nominal_v=what.car.battery.nominal_v,
        current_sign="reversed" if sign == "reversed" else "as_logged",
        progress=progress,
    )
    return log, []


def blocks_of(log: RecordedLog | Span, what: Asked, sign: Sign) -> Iterator[Block]:
    """Its samples; those of a service's data are turned round here where that is asked: a log's are as it is read."""
    from dataclasses import replace

    turned = what.data is not None and sign == "reversed"
    for block in log.blocks():
        yield replace(block, amps=-block.amps) if turned and block.amps is not None else block
