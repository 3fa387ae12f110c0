"""A weak battery and a joint: what the starter's turning tells, in the verdict."""

import pytest

from monitor.assess.verdict import judge
from monitor.base.results import Verdict
from tests.assess.verdict_logs import CAR, crank, days, log_of


def starts(ohms: float, seconds: float, **more: float) -> Verdict:
    """Three starts of so many mΩ, seen once a second; a new battery of 70 Ah shows some 4.6 at 25 °C."""
    seen = {"resistance_mohm": ohms, "amps_plateau": None, "duration_s": None, "turned_s": seconds, "sampled_hz": 1.0}
    began = crank(0, volts_min=9.4, **seen, **more)
    return judge(log_of(*days(trip={"started": began})), CAR)


def test_twice_a_new_batterys_resistance_is_a_battery_where_the_starter_turned_long() -> None:
    assert starts(10.5, 4.0, celsius=15.0).cause == "battery"


def test_twice_a_new_batterys_resistance_is_undetermined_where_the_starter_was_quick() -> None:
    """A joint before the sensing point reads alike, and lets the starter turn as fast as ever."""
    for ohms in (10.3, 10.8, 11.3):
        found = starts(ohms, 1.0)
        assert found.cause == "undetermined"
        assert any("a joint before the point" in text for text in found.against)


def test_the_cold_alone_makes_a_starter_turn_longer() -> None:
    def lacks(celsius: float) -> bool:
        found = starts(10.5 if celsius > 0 else 15.0, 2.5, celsius=celsius)
        return any("lacks current" in text for text in (*found.because, *found.against))

    assert lacks(15.0)
    assert not lacks(-10.0)


@pytest.mark.parametrize("ohms", [12.0, 15.0, 25.0])
def test_a_starter_that_turns_slowly_is_short_of_a_battery_and_a_quick_one_has_a_joint(ohms: float) -> None:
    """However far the volts fall: from 2.3 times a new battery's resistance on both read alike by volts and amps."""
    assert starts(ohms, 3.0, celsius=20.0).cause == "battery"
    assert starts(ohms, 0.9, celsius=20.0).cause == "connection"
    assert starts(ohms, 1.8, celsius=20.0).cause == "undetermined"


def test_without_a_temperature_it_must_be_quick_for_a_warm_engine_and_slow_for_a_cool_one() -> None:
    assert starts(15.0, 1.75).cause == "undetermined"
    assert starts(15.0, 1.75, celsius=5.0).cause == "connection"
    assert starts(15.0, 2.1).cause == "undetermined"
    assert starts(15.0, 2.1, celsius=20.0).cause == "battery"


def test_without_the_starters_length_neither_battery_nor_joint_is_named() -> None:
    nothing = {"duration_s": None, "amps_plateau": None, "sampled_hz": 1.0, "volts_min": 9.4}
    assert (
        judge(log_of(*days(trip={"started": crank(0, resistance_mohm=15.0, **nothing)})), CAR).cause == "undetermined"
    )


def test_samples_that_may_be_an_engines_loads_bound_no_crank_of_a_slow_logger() -> None:
    """Three samples a second apart read three seconds, but where the charge tells none they may be loads."""
    seen = {"duration_s": 3.0, "turned_s": None, "sampled_hz": 1.0, "amps_plateau": None, "celsius": 20.0}
    assert judge(log_of(*days(trip={"started": crank(0, resistance_mohm=20.0, **seen)})), CAR).cause == "undetermined"


def test_what_is_only_a_little_unlikely_is_not_called_ruled_out() -> None:
    texts = starts(10.0, 3.0).because
    assert any(text.startswith("Connection is less likely") for text in texts)
    assert any(text.startswith("Drain is ruled out") for text in texts)
