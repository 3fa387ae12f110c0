"""Times in all the ways that logs write them. Epoch figures are those of GNU date."""

import numpy as np
import pytest

from tests.sources.conftest import Read, Refused

NOON_US = 1_709_294_400_000_000  # date -u -d 2024-03-01T12:00:00Z +%s


def _times(read: Read, *cells: str, zone: str | None = None, header: str = "time") -> list[int]:
    rows = "".join(f"{cell};12.5;x\n" for cell in cells)
    log = {"time": {"zone": zone}} if zone else {}
    whole = read(f"{header};volts;note\n{rows}", log=log)
    assert whole.ledger.refused == {}
    return whole.t_us.tolist()


@pytest.mark.parametrize(
    "cell",
    [
        "2024-03-01T12:00:00Z", "2024-03-01 12:00:00Z", "2024-03-01T12:00Z", "2024-03-01T14:00:00+02:00",
        "2024-03-01T14:00:00+0200", "2024-03-01T06:30:00-05:30", "2024-03-01T12:00:00.000000Z",
        "2024-03-01 12:00:00", "2024/03/01 12:00:00", "01.03.2024 12:00:00", "1.3.2024 12:00",
        "01.03.2024 12:00:00.000", "2024-03-01T12:00:00,000", "2024-03-01 12:00:00.000000000", "13/03/2024 12:00:00",
        "03/13/2024 12:00:00 PM",
        "1709294400", "1709294400.000", "1709294400000", "1709294400000000", "1709294400000000000", "1.7092944e9",
    ],
)  # fmt: skip
def test_one_moment_in_many_writings(read: Read, cell: str) -> None:
    later = 12 * 86_400_000_000 if "13" in cell.split(" ")[0] else 0
    assert _times(read, cell) == [NOON_US + later]


def test_fractions_of_a_second(read: Read) -> None:
    assert _times(read, "2024-03-01T12:00:00.1Z", "2024-03-01T12:00:00.123456Z") == [
        NOON_US + 100_000,
        NOON_US + 123_456,
    ]
    assert _times(read, "01.03.2024 12:00:00,25") == [NOON_US + 250_000]
    assert _times(read, "1709294400.123456") == [NOON_US + 123_456]


def test_separate_date_and_time_columns(read: Read) -> None:
    whole = read("Date,Time,volts\n01.03.2024,12:00:00,12.5\n01.03.2024,12:00:01,12.5\n")
    assert whole.t_us.tolist() == [NOON_US, NOON_US + 1_000_000]


def test_a_time_column_that_holds_the_date_too(read: Read) -> None:
    whole = read("Date,Time,volts\n2024-03-01,2024-03-01 12:00:00,12.5\n")
    assert whole.t_us.tolist() == [NOON_US]


@pytest.mark.parametrize(
    ("header", "cell"), [("t_s", "1.5"), ("elapsed [s]", "1.5"), ("time (ms)", "1500"), ("millis", "1500")]
)
def test_time_since_the_start(read: Read, header: str, cell: str) -> None:
    whole = read(f"{header};volts\n{cell};12.5\n")
    assert whole.t_us.tolist() == [1_500_000]
    assert whole.log.relative


def test_times_below_two_to_the_28_are_relative_and_above_absolute(read: Read) -> None:
    # RFC 8428 §4.5.3 draws this line; the first absolute moment is 1978-07-04T21:24:16Z
    assert read("t;volts\n268435455;12.5\n").log.relative
    whole = read("t;volts\n268435456;12.5\n")
    assert not whole.log.relative
    assert str(whole.t_us.astype("M8[us]")[0]) == "1978-07-04T21:24:16.000000"


def test_a_missing_zone_is_taken_as_utc_and_said(read: Read) -> None:
    whole = read("time,volts\n2024-03-01 12:00:00,12.5\n")
    assert whole.t_us.tolist() == [NOON_US]
    assert any("no zone, taken as UTC" in notice for notice in whole.log.notices)


def test_a_zone_from_the_vehicle_file(read: Read) -> None:
    assert _times(read, "2024-03-01 13:00:00", zone="Europe/Oslo") == [NOON_US]  # CET is UTC+1
    assert _times(read, "01.03.2024 13:00:00", zone="Europe/Oslo") == [NOON_US]
    assert _times(read, "2024-03-01T12:00:00Z", zone="Europe/Oslo") == [NOON_US]


@pytest.mark.parametrize("chunk_bytes", [1, 40, 1 << 20])
@pytest.mark.parametrize("style", ["{d}.10.2024 {t}", "2024-10-{d} {t}"])
def test_the_repeated_hour_is_resolved_by_order(read: Read, style: str, chunk_bytes: int) -> None:
    # Oslo leaves summer time on 2024-10-27 at 01:00 UTC: 02:00–03:00 comes twice.
    utc = np.arange("2024-10-26T22:30", "2024-10-27T04:00", 10, "M8[m]").astype("M8[us]").astype(np.int64)
    local = utc + np.where(utc < 1_729_990_800_000_000, 2, 1) * 3_600_000_000
    cells = [style.format(d=str(t)[8:10], t=str(t)[11:19]) for t in local.astype("M8[us]")]
    rows = "".join(f"{cell},12.5\n" for cell in cells)
    whole = read("time,volts\n" + rows, log={"time": {"zone": "Europe/Oslo"}}, chunk_bytes=chunk_bytes)
    assert whole.t_us.tolist() == utc.tolist()
    assert whole.ledger.clock_steps == []


def test_each_autumn_has_its_own_two_passes(read: Read) -> None:
    rows = "".join(
        f"{day} {clock}:00,12.5\n"
        for day in ("2024-10-27", "2025-10-26")
        for clock in ("02:10", "02:50", "02:10", "02:50")
    )
    whole = read("time,volts\n" + rows, log={"time": {"zone": "Europe/Oslo"}})
    assert [str(t)[11:16] for t in whole.t_us.astype("M8[us]")] == ["00:10", "00:50", "01:10", "01:50"] * 2


def test_the_skipped_hour_is_refused(read: Read) -> None:
    # Oslo enters summer time on 2024-03-31 at 01:00 UTC: there is no 02:30.
    whole = read(
        "time,volts\n2024-03-31 01:59:00,12.5\n2024-03-31 02:30:00,12.5\n2024-03-31 03:00:00,12.5\n",
        log={"time": {"zone": "Europe/Oslo"}},
    )
    assert np.diff(whole.t_us).tolist() == [60_000_000]
    assert whole.ledger.refused == {"local time that the clock change skips": 1}


def test_a_skipped_hour_does_not_disturb_the_repeated_one_in_the_same_chunk(read: Read) -> None:
    whole = read(
        "time,volts\n2024-03-31 02:30:00,12.5\n2024-10-27 02:50:00,12.5\n2024-10-27 02:10:00,12.5\n",
        log={"time": {"zone": "Europe/Oslo"}},
    )
    assert [str(t)[11:16] for t in whole.t_us.astype("M8[us]")] == ["00:50", "01:10"]


@pytest.mark.parametrize(
    "cell",
    ["2024-02-30 12:00:00", "2024-13-01 12:00:00", "2024-03-01 24:30:00", "2024-03-01 12:60:00", "soon", "1e300", "-5"],
)
def test_impossible_times_are_refused(read: Read, cell: str) -> None:
    whole = read(f"time,volts\n2024-03-01 12:00:00,12.5\n2024-03-01 12:00:01,12.5\n{cell},12.5\n")
    assert len(whole.t_us) == 2
    assert whole.ledger.refused == {"time not understood": 1}


def test_a_missing_time_is_refused(read: Read) -> None:
    whole = read("time,volts\n2024-03-01 12:00:00,12.5\n,12.5\n")
    assert whole.ledger.refused == {"no time": 1}


def test_day_and_month_that_cannot_be_told_apart(refused: Refused) -> None:
    assert "cannot be told apart" in refused("time,volts\n01/03/2024 12:00,12.5\n").what


def test_a_time_of_day_alone_is_not_enough(refused: Refused) -> None:
    assert "without a date" in refused("time,volts\n12:00:00,12.5\n").what
