"""The room's public door: paths → a recorded log, or the error that tells a person what hinders."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from monitor.base.errors import InputError
from monitor.base.vehicle import LogSettings
from monitor.sources.files import LogFile, expand, kind_of
from monitor.sources.layout import no_volts, not_found, several
from monitor.sources.lines import CHUNK
from monitor.sources.recorded import Progress, Reader, RecordedLog
from monitor.sources.rows import CHANNELS


def open_logs(
    paths: Sequence[Path],
    settings: LogSettings,
    *,
    nominal_v: float = 12.0,
    current_sign: Literal["as_logged", "reversed"] = "as_logged",
    progress: Progress | None = None,
    chunk_bytes: int = CHUNK,
) -> RecordedLog:
    """Open recorded logs: files, directories and patterns, to be read as one stream in time order.

    `progress` is called with bytes read and bytes in all. `chunk_bytes` of text are parsed at a time; the samples
    do not depend on it. Raises InputError for what is no log.
    """
    notices: list[str] = []
    readers: list[Reader] = []
    skipped: list[InputError] = []
    sizes: dict[str, int] = {}
    for log in expand(paths):
        try:
            reader = _reader(log, settings, chunk_bytes)
        except InputError as error:
            if log.named:
                raise
            skipped.append(error)  # a directory may hold other things beside logs
            continue
        readers.append(reader)
        sizes[log.name] = log.path.stat().st_size
    if not readers:
        raise skipped[0]
    notices += [f"passed over: {error.what}" for error in skipped]
    _check_named(readers, settings)
    _check_volts(readers)
    _check_relative(readers)
    notices += _notices(readers)
    return RecordedLog(readers, sizes, nominal_v, current_sign == "reversed", progress, notices)


def _reader(log: LogFile, settings: LogSettings, chunk_bytes: int) -> Reader:
    kind = kind_of(log)
    if kind == "text":
        from monitor.sources.delimited import DelimitedLog

        return DelimitedLog(log, settings, chunk_bytes)
    if kind == "senml":
        from monitor.sources.senml import SenmlLog

        return SenmlLog(log, settings)
    from monitor.sources.columnar import ColumnarLog

    return ColumnarLog(log, kind, settings)


def _check_named(readers: Sequence[Reader], settings: LogSettings) -> None:
    for channel in CHANNELS:
        said = getattr(settings, channel).column
        if said is not None and not any(channel in reader.channels for reader in readers):
            raise not_found(readers[0].name, channel, said, readers[0].columns)


def _check_volts(readers: Sequence[Reader]) -> None:
    for reader in readers:
        for channel in ("volts", "amps"):
            if channel in reader.unclear:
                raise several(reader.name, channel, reader.unclear[channel])
    if not any("volts" in reader.channels for reader in readers):
        reader = readers[0]
        example = next((c for c in reader.columns if c), "COLUMN")
        raise no_volts(reader.name, reader.columns, example)


def _check_relative(readers: Sequence[Reader]) -> None:
    relative = [reader for reader in readers if reader.relative]
    if not relative or len(readers) == 1:
        return
    shared = [c for c in CHANNELS if sum(c in reader.channels for reader in readers) > 1]
    if len(relative) < len(readers) or shared:
        raise InputError(
            f"{relative[0].name}: times count from the start of the log, so its place beside the other logs is unknown",
            "replay such logs one at a time, or give them absolute times",
        )


def _notices(readers: Sequence[Reader]) -> list[str]:
    notices = []
    for reader in readers:
        if "celsius" in reader.unclear:
            columns = reader.unclear["celsius"]
            notices.append(
                f"{reader.name}: temperature not used, several columns fit ({', '.join(columns)}): "
                f'set [log] celsius = {{ column = "{columns[0]}" }}'
            )
        if reader.assumes_utc:
            notices.append(
                f"{reader.name}: times carry no zone, taken as UTC: "
                'set [log] time = { zone = "Europe/Oslo" } to your own zone'
            )
    return notices
