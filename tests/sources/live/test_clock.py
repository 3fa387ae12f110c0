"""Times of arrival on clocks that are passed in: corrections are not felt, a set clock is believed forwards."""

from monitor.sources.live.clock import ArrivalClock, CountingClock
from monitor.sources.live.feed import Feed
from tests.sources.live.conftest import START_S, Clock, car, feed, listen, on_pieces

START_US = round((START_S + 100.0) * 1e6)


def arrivals(clock: Clock, since_us: int | None = None) -> ArrivalClock:
    return ArrivalClock(since_us, clock, clock.wall)


def test_a_step_of_the_time_server_does_not_move_data_time() -> None:
    clock = Clock()
    times = arrivals(clock)
    before = times.now()
    clock.rest(10.0)
    clock.wall_ahead += 1.5
    assert times.now() == before + 10_000_000
    clock.wall_ahead -= 3.0
    clock.rest(10.0)
    assert times.now() == before + 20_000_000
    assert times.take_steps() == ()


def test_a_clock_set_forwards_is_believed_and_reported_once() -> None:
    clock = Clock()
    times = arrivals(clock)
    clock.rest(5.0)
    clock.wall_ahead += 3600.0
    assert times.now() == START_US + 3_605_000_000
    assert times.take_steps() == ((START_US + 3_605_000_000, 3600.0),)
    clock.rest(5.0)
    assert times.now() == START_US + 3_610_000_000
    assert times.take_steps() == ()


def test_a_clock_set_back_is_reported_and_data_time_goes_on() -> None:
    clock = Clock()
    times = arrivals(clock)
    clock.rest(5.0)
    clock.wall_ahead -= 3600.0
    assert times.now() == START_US + 5_000_000
    assert times.take_steps() == ((START_US + 5_000_000, -3600.0),)
    clock.wall_ahead += 3600.0
    clock.rest(1.0)
    assert times.now() == START_US + 6_000_000
    assert times.take_steps() == ((START_US + 6_000_000, 3600.0),)


def test_a_computer_that_wakes_in_the_past_goes_on_after_the_journal_until_it_knows_the_time() -> None:
    clock = Clock()
    true = clock.wall_ahead
    clock.wall_ahead = 0.0  # 1970
    last = START_US - 600_000_000
    times = arrivals(clock, last)
    assert times.now() == last + 1
    clock.rest(30.0)
    assert times.now() == last + 30_000_001
    clock.wall_ahead = true
    assert 0 <= times.now() - (START_US + 30_000_000) <= 1, "later than the time given at this same moment"
    back, forwards = times.take_steps()
    assert back[1] < 0 < forwards[1]


def test_several_lines_of_one_read_are_spread_over_the_time_since_the_last() -> None:
    clock = Clock()
    times = arrivals(clock)
    times.mark()
    clock.rest(0.05)
    assert times.spread(5) == [START_US + k * 10_000 for k in range(1, 6)]
    assert times.spread(3) == [START_US + 50_000 + k for k in range(1, 4)], "strictly increasing even without any time"


def test_a_count_keeps_the_loggers_intervals_and_its_restart_is_no_step() -> None:
    counting = CountingClock()
    late = (0, 40_000, 10_000, 49_000, 0)
    found = [counting.at(1_000_000 * k, START_US + 1_000_000 * k + late[k]) for k in range(5)]
    assert found == [START_US + 1_000_000 * k for k in range(5)]
    assert counting.at(100, START_US + 60_000_000) == START_US + 60_000_000
    assert counting.at(1_000_100, START_US + 61_300_000) == START_US + 61_000_000


def test_lines_without_time_reach_the_books_with_the_steps_of_this_computers_clock() -> None:
    clock = Clock()
    pieces = [b"volts,amps\n" + b"12.5,-0.02\n" * 30]
    logger = on_pieces(clock, pieces)
    said = listen(logger, 3)
    clock.wall_ahead += 7200.0
    pieces.append(b"12.4,-0.02\n" * 10)
    listen(logger, 3, said)
    into = Feed()
    fed = feed(said.arrivals, into)
    assert len(fed.t_us) == 40
    assert [size for _, size in fed.ledger.clock_steps] == [7200.0]
    assert fed.t_us[30] - fed.t_us[29] > 7_199_000_000


def test_summer_time_does_not_touch_data_time() -> None:
    """The wall clock is read as UTC, which has no summer time; a logger's own local times are turned into UTC."""
    lines = [f"2025-10-26 {h:02d}:{m:02d}:00,12.5" for h, m in [(2, 58), (2, 59), (2, 0), (2, 1), (3, 0)]]
    data = ("time,volts\n" + "\n".join(lines) + "\n").encode()
    said = listen(on_pieces(Clock(), [data], {"time": {"zone": "Europe/Oslo"}}), 5)
    fed = feed(said.arrivals)
    assert [b - a for a, b in zip(fed.t_us[:-1], fed.t_us[1:], strict=True)] == [60e6, 60e6, 60e6, 59 * 60e6]
    assert not fed.ledger.clock_steps


def test_local_times_without_a_zone_are_taken_as_utc_and_that_is_said() -> None:
    data = b"time,volts\n" + b"".join(b"2025-06-15 14:00:%02d,12.5\n" % s for s in range(30))
    said = listen(on_pieces(Clock(), [data]), 5)
    assert said.states == ["speaking"] or said.states == ["opening", "speaking"]
    assert "times carry no zone, taken as UTC" in said.why
    assert car().log.time.zone is None
