"""The fitting check's judgements: what was heard → ok, mend or unknown, with the numbers."""

from __future__ import annotations

import numpy as np
import pytest

from monitor.assess import fitting, fitting_lamps, fitting_levels
from monitor.assess.fitting import Finding, scatter
from monitor.base.ledger import Ledger, RefusedLine
from monitor.base.samples import SECOND_US, Block, Floats
from monitor.base.vehicle import Battery

VAN = Battery(kind="flooded", capacity="60 Ah")


def every(seconds: float, count: int) -> np.ndarray:
    return np.round(np.arange(count) * seconds * SECOND_US).astype(np.int64)


def noisy(sigma: float, count: int = 600, level: float = -0.02, step: float = 1e-4) -> Floats:
    """Gaussian noise about a level, as a logger of that step writes it."""
    values = level + np.random.default_rng(1).normal(0.0, sigma, count)
    return np.round(values / step) * step


def switched(change_a: float, ohm: float, *, every_s: float = 1.0, noise_v: float = 0.001, on_at: int = 10) -> Block:
    """20 rows; a load of `change_a` (− out of the battery) goes on at row `on_at`."""
    amps = np.where(np.arange(20) < on_at, -0.03, -0.03 + change_a)
    volts = 12.65 + amps * ohm + np.random.default_rng(2).normal(0.0, noise_v, 20)
    return Block(every(every_s, 20), np.round(volts, 3), amps)


def judged(found: list[Finding]) -> dict[str, str]:
    return {one.name: one.judgement for one in found}


def by_lamps(block: Block, battery: Battery = VAN) -> list[Finding]:
    return fitting_lamps.lamps(fitting_lamps.step(block), battery, 15.0)


# Rate, lines, columns


def test_a_steady_rhythm_is_told_with_its_rate_and_what_it_cannot_show() -> None:
    one = fitting.rate(every(0.5, 60), 30.0)
    assert (one.judgement, one.found) == (
        "ok",
        "2 readings a second, longest pause 0.5 s; the length of a crank needs 3 a second",
    )


def test_ten_readings_a_second_lack_nothing() -> None:
    assert fitting.rate(every(0.1, 300), 30.0).found == "10 readings a second, longest pause 0.1 s"


def test_a_reading_in_eleven_seconds_is_too_slow() -> None:
    one = fitting.rate(every(11.0, 6), 60.0)
    assert (one.judgement, one.found) == ("mend", "a reading every 11 s, longest pause 11 s")


def test_a_pause_of_the_size_of_a_gap_is_found() -> None:
    times = every(1.0, 60)
    times[30:] += 5 * SECOND_US
    assert fitting.rate(times, 60.0).judgement == "mend"


def test_two_readings_in_a_short_time_are_no_judgement() -> None:
    assert fitting.rate(every(8.0, 2), 20.0).judgement == "unknown"


def test_refused_lines_are_shown_word_for_word() -> None:
    book = Ledger(samples=90)
    book.refuse("not a number", RefusedLine("port", 7, "12:00,OL?"), 10)
    one = fitting.lines(book.samples, book.refused, book.first)
    assert (one.judgement, one.found) == ("mend", '90 understood, 10 refused: not a number (10, as "12:00,OL?")')


def test_half_a_line_at_the_start_is_no_fault_and_is_told() -> None:
    one = fitting.lines(60, {"cut": 1}, {})
    assert (one.judgement, one.found) == ("ok", "60 understood, 1 refused: cut (1)")


def test_two_bad_lines_of_sixty_are_a_fault() -> None:
    assert fitting.lines(60, {"cut": 2}, {}).judgement == "mend"


def test_columns_without_volts_are_to_mend_and_without_amps_unknown() -> None:
    found = [fitting.columns(c, "t,x", "").judgement for c in (["amps"], ["volts"], ["amps", "volts"])]
    assert found == ["mend", "unknown", "ok"]


# Resolution and noise


def test_noise_is_measured_beside_a_drift() -> None:
    values = np.linspace(12.5, 12.7, 5000) + np.random.default_rng(1).normal(0.0, 0.003, 5000)
    # The median of 4,999 differences is known to 1.6 %; four times that.
    assert scatter(values).spread == pytest.approx(0.003, rel=0.065)


def test_a_quiet_fine_current_shows_wake_ups_from_ten_milliampere_on() -> None:
    one = fitting.fine_amps(Block(every(1.0, 600), np.full(600, 12.6), noisy(0.001)))
    assert one is not None
    assert (one.judgement, one.found.rpartition("; ")[2]) == ("ok", "wake-ups show from 10 mA on")


def test_a_noisy_clamp_hides_wake_ups_and_is_to_mend() -> None:
    one = fitting.fine_amps(Block(every(1.0, 600), np.full(600, 12.6), noisy(0.02)))
    assert one is not None
    assert one.judgement == "mend"
    # 5.2 times 20 mA; the median of 599 differences is known to 4.5 %, twice that.
    assert float(one.found.split("from ")[1].split(" mA")[0]) == pytest.approx(104, rel=0.09)


def test_a_fast_loggers_noise_is_judged_by_its_seconds() -> None:
    one = fitting.fine_amps(Block(every(0.02, 3000), np.full(3000, 12.6), noisy(0.02, 3000)))
    assert one is not None
    assert one.judgement == "ok"  # 50 a second: the noise of a second is a seventh


@pytest.mark.parametrize(("step_a", "judgement"), [(0.002, "ok"), (0.008, "ok"), (0.05, "mend")])
def test_the_current_needs_steps_of_ten_milliampere_or_less(step_a: float, judgement: str) -> None:
    one = fitting.fine_amps(Block(every(1.0, 600), np.full(600, 12.6), noisy(0.001, level=-step_a / 2, step=step_a)))
    assert one is not None
    assert one.judgement == judgement


@pytest.mark.parametrize(("step_v", "judgement"), [(0.001, "ok"), (0.02, "ok"), (0.1, "mend")])
def test_the_volts_need_steps_of_forty_millivolt_or_less(step_v: float, judgement: str) -> None:
    volts = noisy(0.0005, level=12.6 + step_v / 2, step=step_v)
    assert fitting.fine_volts(Block(every(1.0, 600), volts)).judgement == judgement


def test_readings_that_never_move_leave_their_step_unknown() -> None:
    assert fitting.fine_volts(Block(every(1.0, 60), np.full(60, 12.6))).judgement == "unknown"


# Zero


def test_a_zero_within_two_milliampere_is_ok() -> None:
    assert fitting.zero(noisy(0.001, 30, level=0.0012), 0.0).judgement == "ok"


def test_a_zero_that_is_off_is_told_with_the_setting_that_owns_up_to_it() -> None:
    one = fitting.zero(np.full(30, 0.0073), 0.0)
    assert (one.judgement, one.found) == ("mend", "+7.3 mA with no current flowing")
    assert '[log] zero_offset = "8 mA"' in str(one.mend)


def test_a_zero_that_the_vehicle_file_owns_up_to_is_ok() -> None:
    assert fitting.zero(np.full(30, 0.0073), 0.008).judgement == "ok"


def test_a_zero_far_off_is_found_in_any_noise() -> None:
    assert fitting.zero(noisy(0.05, 30, level=0.5), 0.0).judgement == "mend"


def test_a_zero_lost_in_noise_is_unknown() -> None:
    assert fitting.zero(noisy(0.05, 30, level=0.0), 0.0).judgement == "unknown"


# Lamps


def test_lamps_on_a_sound_vehicle_are_ok_twice() -> None:
    assert judged(by_lamps(switched(-9.0, 0.008))) == {"sign": "ok", "sense leads": "ok"}


def test_a_reversed_current_is_found() -> None:
    block = switched(-9.0, 0.008)
    assert block.amps is not None
    sign, leads = by_lamps(Block(block.t_us, block.volts, -block.amps))
    assert (sign.judgement, leads.judgement) == ("mend", "ok")
    assert 'positive = "discharge"' in str(sign.mend)


def test_lamps_that_go_off_instead_do_not_reverse_the_sign() -> None:
    # The change is upward: only the volts, which rise with it, tell that a load went and none came.
    on = switched(-9.0, 0.008)
    assert on.amps is not None
    assert by_lamps(Block(on.t_us, on.volts[::-1], on.amps[::-1]))[0].judgement == "ok"


def test_small_lamps_show_the_sign_and_leave_the_sense_leads_unknown() -> None:
    assert judged(by_lamps(switched(-0.8, 0.008))) == {"sign": "ok", "sense leads": "unknown"}


def test_a_sense_cable_of_thirty_milliohm_is_found() -> None:
    leads = by_lamps(switched(-9.0, 0.008 + 0.03))[1]
    # 60 Ah flooded: 4.9 mΩ · 65/60 new, · 1.23 where no temperature is known, · 4
    assert leads.judgement == "mend"
    assert leads.found.endswith("up to 26 are the battery's")
    # two means of two readings each, of 1 mV noise and 0.5 mV rounding: 1 mV, on 9 A 0.1 mΩ; five times that
    assert float(leads.found.split(" mΩ")[0].split()[-1]) == pytest.approx(38.0, abs=0.6)


def test_a_motorcycles_battery_may_have_thirty_eight_milliohm() -> None:
    assert by_lamps(switched(-5.0, 0.038), Battery(kind="agm", capacity="12 Ah"))[1].judgement == "ok"


def test_volts_that_do_not_answer_the_load_are_not_this_batterys() -> None:
    leads = by_lamps(switched(-9.0, 0.0, noise_v=0.0005))[1]
    assert (leads.judgement, "not the volts of this battery" in str(leads.mend)) == ("mend", True)


def test_volts_too_noisy_for_the_load_leave_the_sense_leads_unknown() -> None:
    assert by_lamps(switched(-2.5, 0.008, noise_v=0.1))[1].judgement == "unknown"


def test_a_step_is_told_once_a_row_has_made_it_no_larger() -> None:
    block = switched(-9.0, 0.008)
    # on at row 10: 7 and 8 before, 10 and 11 after, and 12
    assert fitting_lamps.step(block[:12]) is None
    seen = fitting_lamps.step(block[:13])
    assert seen is not None
    assert seen.amps == pytest.approx(-9.0)


def test_noise_is_no_step() -> None:
    amps = noisy(0.2, 120)
    assert fitting_lamps.step(Block(every(1.0, 120), np.full(120, 12.6), amps)) is None


def test_without_a_step_the_sign_is_to_mend() -> None:
    assert judged(by_lamps(switched(-0.1, 0.008))) == {"sign": "mend", "sense leads": "unknown"}


# Levels


@pytest.mark.parametrize(
    ("volts", "battery", "word"),
    [
        (12.65, Battery(), None),
        (13.3, Battery(), "stop the engine"),
        (12.1, Battery(), "charge to 12.4 V"),
        (11.0, Battery(), "flat"),
        (13.4, Battery(kind="lifepo4"), None),
        (14.2, Battery(kind="lifepo4"), "stop the engine"),
        (12.6, Battery(kind="lifepo4"), "nearly empty"),
        (25.4, Battery(nominal="24 V"), None),
        (28.4, Battery(nominal="24 V"), "stop the engine"),
        (6.3, Battery(nominal="6 V"), None),
    ],
)
def test_volts_are_judged_for_kind_and_size(volts: float, battery: Battery, word: str | None) -> None:
    one = fitting_levels.volts(np.full(10, volts), battery, None)
    assert (one.judgement, (word or "") in str(one.mend)) == ("ok" if word is None else "mend", True)


def test_volts_that_ask_for_a_setting_name_it() -> None:
    assert fitting_levels.volts(np.full(9, 12.6), Battery(), 'set [log] x = "mV"').mend == 'set [log] x = "mV"'


@pytest.mark.parametrize(
    ("amps", "word"),
    [(-0.021, None), (-6.0, None), (0.0, "connected"), (0.021, "sign or zero"), (-21.0e3 / 60, "unit"), (0.001, None)],
)
def test_a_current_that_no_standing_vehicle_draws_is_found(amps: float, word: str | None) -> None:
    one = fitting_levels.current(np.full(60, amps), np.full(60, 12.6), Battery(), 0.0)
    assert (one.judgement, (word or "") in str(one.mend)) == ("ok" if word is None else "mend", True)


def test_current_into_a_battery_on_a_charger_is_as_it_should_be() -> None:
    assert fitting_levels.current(np.full(60, 2.0), np.full(60, 14.1), Battery(), 0.0).judgement == "ok"


@pytest.mark.parametrize(("celsius", "judgement"), [(-20.0, "ok"), (8.5, "ok"), (140.0, "mend"), (np.nan, "mend")])
def test_a_temperature_that_cannot_be_is_found(celsius: float, judgement: str) -> None:
    assert fitting_levels.temperature(np.full(9, celsius)).judgement == judgement


# This computer


def test_a_loggers_clock_an_hour_off_is_told_as_a_zone() -> None:
    one = fitting.clock(None, False, -3601.0)
    assert (one.judgement, "another zone" in one.found) == ("mend", True)


def test_a_loggers_clock_twenty_minutes_off_is_no_zone() -> None:
    one = fitting.clock(None, False, 1200.0)
    assert (one.judgement, one.found) == ("mend", "the logger gives the times, 20 min ahead of this computer's")


def test_half_a_minute_off_is_told_and_may_stay() -> None:
    one = fitting.clock(None, False, 30.0)
    assert (one.judgement, "30 s ahead" in one.found) == ("ok", True)


def test_the_disk_must_hold_a_week_and_the_reserve() -> None:
    # 604,800 readings of 40 bytes and 200 MB: 224.2 MB
    assert [fitting.disk(free, 2e8, 1.0).judgement for free in (225_000_000, 224_000_000, None)] == [
        "ok",
        "mend",
        "unknown",
    ]
