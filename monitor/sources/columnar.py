"""Parquet and Arrow files → rows. A refused row is shown with its number, counted from 1, in place of a line."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator
from typing import Any, Literal
from zoneinfo import ZoneInfo

import numpy as np

from monitor.base.errors import InputError
from monitor.base.ledger import RefusedLine
from monitor.base.samples import Ints
from monitor.base.vehicle import LogSettings
from monitor.sources import times
from monitor.sources.arrays import floats_of, ints_of, present
from monitor.sources.cells import mark_figures, numbers_of
from monitor.sources.files import LogFile
from monitor.sources.header import Roles, recognise
from monitor.sources.rows import ABSENT, GOOD, Cells, Codes, Fault, Rows, Where, fault
from monitor.sources.zones import LocalClock

BATCH = 65_536  # rows; our choice: long enough to be fast, short enough for memory


class ColumnarLog:
    """A Parquet or Arrow (IPC file, stream, Feather) log; InputError when it is damaged, or has no time or no rows."""

    def __init__(self, log: LogFile, kind: Literal["parquet", "arrow"], settings: LogSettings) -> None:
        import pyarrow as pa

        self.name = log.name
        self._log = log
        self._kind = kind
        self._zone = None if settings.time.zone is None else ZoneInfo(settings.time.zone)
        self._clock: LocalClock | None = None
        try:
            with pa.OSFile(str(log.path)) as file:
                schema = self._schema(file)
                head = next((b for b in self._batches(file, None) if b.num_rows), None)
        except (OSError, ValueError, pa.ArrowException) as error:
            raise self._damaged(error) from None
        if head is None:
            raise InputError(f"{self.name}: no rows in this {kind} file", "check that the log was recorded")
        self.columns = tuple(schema.names)
        self._roles = recognise([_titled(field) for field in schema], settings)
        self._roles.time = self._roles.time or _only_time(schema)
        self._roles.check_units(self.name)
        if not self._roles.time:
            raise InputError(
                f"{self.name}: no time column; the columns are: {', '.join(self.columns)}",
                f'name it in the vehicle file: [log] time = {{ column = "{self.columns[0]}" }}',
            )
        self._plan = self._time_plan(head, self._roles)
        self.channels = tuple(self._roles.channels)
        self.unclear = self._roles.unclear
        self.relative = self._plan is not None and self._plan.relative
        time_type = schema.field(self._roles.time[0]).type
        zoned = pa.types.is_timestamp(time_type) and time_type.tz is not None
        as_text = self._plan is not None and self._plan.kind in ("local", "text")
        self.assumes_utc = self._zone is None and ((self._plan is None and not zoned) or as_text)
        self._is_local = not zoned

    def rows(self, progress: Callable[[int], None] | None = None) -> Generator[Rows, None, None]:
        """All rows in the order of the file; `progress` is told the bytes of the file read so far."""
        import pyarrow as pa

        self._clock = None if self._zone is None else LocalClock(self._zone)
        wanted = list(dict.fromkeys([*self._roles.time, *(s.column for s in self._roles.channels.values())]))
        first = 1
        with pa.OSFile(str(self._log.path)) as file:
            try:
                for whole in self._batches(file, [self.columns[i] for i in wanted]):
                    for start in range(0, whole.num_rows, BATCH):
                        batch = whole.slice(start, BATCH)
                        if progress is not None:
                            progress(int(file.tell()))
                        yield self._rows(batch, first)
                        first += batch.num_rows
            except (OSError, ValueError, pa.ArrowException) as error:
                raise self._damaged(error) from None

    def _schema(self, file: Any) -> Any:
        import pyarrow as pa
        from pyarrow import parquet

        if self._kind == "parquet":
            return parquet.ParquetFile(file).schema_arrow
        is_file = file.read(6) == b"ARROW1"
        file.seek(0)
        return (pa.ipc.open_file(file) if is_file else pa.ipc.open_stream(file)).schema

    def _batches(self, file: Any, columns: list[str] | None) -> Iterator[Any]:
        import pyarrow as pa
        from pyarrow import parquet

        file.seek(0)
        if self._kind == "parquet":
            # Not buffered ahead: a whole row group would be kept. No threads of pyarrow's: see DelimitedLog.
            whole = parquet.ParquetFile(file, pre_buffer=False, buffer_size=1 << 20)
            yield from whole.iter_batches(BATCH, columns=columns, use_threads=False)
            return
        is_file = file.read(6) == b"ARROW1"
        file.seek(0)
        if is_file:
            reader = pa.ipc.open_file(file)
            batches = (reader.get_batch(i) for i in range(reader.num_record_batches))
        else:
            batches = iter(pa.ipc.open_stream(file))
        for batch in batches:
            yield batch if columns is None else batch.select(columns)

    def _damaged(self, error: Exception) -> InputError:
        text = str(error).split("\n")[0]
        return InputError(f"{self.name}: damaged {self._kind} file: {text}", "copy the file again from the logger")

    def _time_plan(self, head: Any, roles: Roles) -> times.TimePlan | None:
        """How times are written when they are not of a time type."""
        import pyarrow as pa

        column = head.column(roles.time[0])
        if pa.types.is_timestamp(column.type):
            return None
        if pa.types.is_date(column.type) or pa.types.is_time(column.type) or len(roles.time) > 1:
            plan: times.TimePlan | str = "date and time are apart; expected one column"
        else:
            cells = [str(cell) for cell in column.slice(0, 200).to_pylist() if cell is not None]
            plan = times.plan(cells, roles.time_unit)
        if isinstance(plan, str):
            raise InputError(
                f"{self.name}: no usable time: {plan}", 'name the time column: [log] time = { column = "…" }'
            )
        return plan

    def _rows(self, batch: Any, first: int) -> Rows:
        where = self._where(batch, first)
        t_us, bad = self._times(batch.column(self.columns[self._roles.time[0]]))
        cells = {name: self._cells(batch, name) for name in self._roles.channels}
        faults: list[Fault] = []
        lost = np.zeros(batch.num_rows, np.bool_)
        for reason, mask in bad.items():
            if mask.any():
                faults.append(fault(reason, np.flatnonzero(mask).tolist(), where))
                lost |= mask
        if not faults:
            return Rows(t_us, cells, where)
        index = np.flatnonzero(~lost)
        kept = {n: Cells(c.values[index], None if c.flaws is None else c.flaws[index]) for n, c in cells.items()}
        return Rows(t_us[index], kept, lambda row: where(int(index[row])), tuple(faults))

    def _times(self, column: Any) -> tuple[Ints, dict[str, Any]]:
        import pyarrow as pa

        missing = ~present(column)
        if self._plan is None:
            t_us = ints_of(_cast(column, pa.timestamp("us", column.type.tz)))
            good = (t_us >= 0) & (t_us < times.LATEST_US)
            if self._clock is None and not column.null_count and good.all():  # nearly always
                return t_us, {}
            local = np.full(len(t_us), self._is_local)
        elif self._plan.kind == "number":
            t_us, good = times.number_us(floats_of(_cast(column, pa.float64())), self._plan)
            local = np.zeros(len(t_us), np.bool_)
        else:
            import pyarrow.compute as pc

            text = pc.utf8_trim_whitespace(pc.cast(column, "string").fill_null(""))
            read = times.text_us(text, self._plan.order)
            t_us, good, local = read.us.copy(), read.good, ~read.zoned
        skipped = np.zeros(len(t_us), np.bool_)
        index = np.flatnonzero(local & good & ~missing)
        if self._clock is not None and len(index):
            t_us = t_us.copy()
            t_us[index], exists = self._clock.to_utc(t_us[index])
            skipped[index[~exists]] = True
        return t_us, {
            "no time": missing,
            "time not understood": ~good & ~missing,
            "local time that the clock change skips": skipped,
        }

    def _cells(self, batch: Any, name: str) -> Cells:
        import pyarrow as pa

        source = self._roles.channels[name]
        column = batch.column(self.columns[source.column])
        flaws: Codes | None = None
        if pa.types.is_string(column.type) or pa.types.is_large_string(column.type):
            import pyarrow.compute as pc

            values, flaws = numbers_of(pc.utf8_trim_whitespace(pc.cast(column, "string").fill_null("")))
        else:
            try:
                numbers = _cast(column, pa.float64())
            except (pa.ArrowInvalid, pa.ArrowNotImplementedError):
                raise InputError(
                    f'{self.name}: column "{self.columns[source.column]}" holds {column.type}, no numbers',
                    f'name another in the vehicle file: [log] {name} = {{ column = "…" }}',
                ) from None
            values = floats_of(numbers)
            if numbers.null_count:
                flaws = np.where(present(numbers), np.uint8(GOOD), np.uint8(ABSENT))
                mark_figures(values, flaws)
        return source.scaled(Cells(values, flaws))

    def _where(self, batch: Any, first: int) -> Where:
        def where(row: int) -> RefusedLine:
            cells = batch.slice(row, 1).to_pylist()[0]
            return RefusedLine(self.name, first + row, ", ".join(f"{k}={v}" for k, v in cells.items()))

        return where


def _cast(column: Any, kind: Any) -> Any:
    """The column as another type; loads pyarrow's functions only where it is not of that type already."""
    return column if column.type == kind else column.cast(kind, safe=False)


def _titled(field: Any) -> str:
    """Name of a column, with the unit that its metadata may give."""
    metadata = field.metadata or {}
    unit = metadata.get(b"unit") or metadata.get(b"units")
    return f"{field.name} [{unit.decode('utf-8', 'replace')}]" if unit else str(field.name)


def _only_time(schema: Any) -> tuple[int, ...]:
    import pyarrow as pa

    found = [i for i, field in enumerate(schema) if pa.types.is_timestamp(field.type)]
    return tuple(found) if len(found) == 1 else ()
