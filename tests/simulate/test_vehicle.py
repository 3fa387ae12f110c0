"""What the vehicle does in a log: cranks, charging and its faults, chargers, connections, other nominal voltages."""

from datetime import UTC, datetime, time
from typing import Any

import numpy as np
import pytest

from monitor.base.errors import SettingError
from monitor.base.results import Drive
from monitor.base.samples import Block, Floats
from monitor.simulate import Simulation, run
from tests.simulate.conftest import Make

EVENING = datetime(2025, 3, 3, 19, 58, tzinfo=UTC)  # two minutes before the first trip


def whole(simulation: Simulation) -> Block:
    return next(simulation.blocks(10**9))


def running_volts(simulation: Simulation, drive: Drive, scale: float = 1.0) -> Floats:
    """Volts from half a minute after the start to the end, as for a 12 V system."""
    block = whole(simulation)
    assert drive.end is not None
    return block.volts[(block.t_us > drive.start + 35 * 10**6) & (block.t_us < drive.end)] / scale


def test_a_crank_begins_with_an_inrush_of_two_to_four_times_the_plateau_within_60_ms(make: Make) -> None:
    # from memory: inrush 2–4 × plateau, 20–60 ms
    done = run(make(start=EVENING, days=0.003, logger={"rate": 1000.0, "averaging": False}))
    block, crank = whole(done), done.truth.drives[0].crank
    assert block.amps is not None
    assert crank is not None
    assert crank.amps_plateau is not None
    assert 2.0 <= crank.amps_peak / crank.amps_plateau <= 4.0  # type: ignore[operator]  # a simulated crank has a peak
    t_ms = (block.t_us - crank.start) / 1000
    during = (t_ms > 0) & (t_ms < 500)
    high = t_ms[during][block.amps[during] < 2 * crank.amps_plateau]
    assert high[-1] - high[0] < 60.0


def test_compression_ripple_has_the_frequency_of_speed_and_cylinders(make: Make) -> None:
    # four-stroke: f = rpm/60 · cylinders/2, so 200 rpm of a 4-cylinder is 6.7 Hz
    vehicle = {"crank_duration": 4.0, "crank_speed_rpm": 200.0, "cylinders": 4}
    done = run(make(start=EVENING, days=0.003, vehicle=vehicle, logger={"rate": 200.0, "averaging": False}))
    block, crank = whole(done), done.truth.drives[0].crank
    assert block.amps is not None
    assert crank is not None
    assert crank.engine_rpm == pytest.approx(200.0, rel=0.15)
    t = (block.t_us - crank.start) / 1e6
    part = block.amps[(t > 0.4) & (t < 3.4)]
    part = part - np.polyval(np.polyfit(np.arange(len(part)), part, 1), np.arange(len(part)))
    strongest = np.argmax(np.abs(np.fft.rfft(part, 8 * len(part)))) / 8 / 3.0
    assert strongest == pytest.approx(
        crank.engine_rpm / 60 * 2, abs=0.1
    )  # 3 s resolve a third of a hertz, peak a tenth


def test_a_warm_start_of_a_sound_car_stays_above_the_immunity_profile(make: Make) -> None:
    # ISO 16750-2 (2023) clause 4.6.3, level I: dip 8.0 V, plateau 9.5 V. A sound warm battery is better than that.
    done = run(make(days=0.1, ambient={"mean": 20.0}))
    crank = done.truth.drives[0].crank
    assert crank is not None
    assert crank.volts_min is not None
    assert crank.volts_before is not None
    assert crank.resistance_mohm is not None
    assert crank.amps_plateau is not None
    assert 8.0 < crank.volts_min < crank.volts_before - 1.0
    assert crank.volts_before + crank.resistance_mohm * crank.amps_plateau / 1e3 > 9.5


def test_a_cold_engine_takes_up_to_twice_the_current_of_a_warm_one(make: Make) -> None:
    # trade text: warm 150 A, cold 300 A
    cranks = [
        run(make(start=EVENING, days=0.003, ambient={"mean": celsius, "swing": 0.0})).truth.drives[0].crank
        for celsius in (20.0, -18.0)
    ]
    warm, cold = (crank.amps_plateau for crank in cranks if crank is not None)
    assert warm is not None
    assert cold is not None
    assert 1.5 < cold / warm <= 2.0


def test_a_sleep_level_may_follow_the_temperature(make: Make) -> None:
    vehicle = {"sleep": 0.02, "sleep_per_kelvin": 0.01}
    block = whole(run(make(trips=[], ambient={"mean": 15.0, "swing": 10.0}, vehicle=vehicle)))
    assert block.amps is not None
    # 18:00 to 12:00: from 15 + 5·cos(45°) down to 10 °C at three in the morning, 1 % of 20 mA a degree
    assert -float(block.amps[10]) == pytest.approx(0.02 * 1.0354, rel=0.001)
    assert -float(block.amps.max()) == pytest.approx(0.019, rel=0.001)


def test_a_fixed_alternator_holds_its_volts(make: Make) -> None:
    done = run(make(alternator={"volts": 14.3}))
    volts = running_volts(done, done.truth.drives[0])
    # the cable's 4 mΩ at up to 70 A of loads and charge, and the regulator's rise after the start
    assert 13.9 < np.quantile(volts, 0.02) <= np.quantile(volts, 0.98) < 14.3


def test_a_compensated_alternator_is_higher_in_the_cold_by_its_slope(make: Make) -> None:
    # marine and diesel: −10 mV/°C (technical data of an engine maker)
    seen = []
    for celsius in (20.0, -10.0):
        alternator = {"regulation": "compensated", "per_kelvin": -0.010, "cable": 0.0}
        done = run(make(ambient={"mean": celsius, "swing": 0.0}, alternator=alternator))
        seen.append(float(np.median(running_volts(done, done.truth.drives[0]))))
    assert seen[1] - seen[0] == pytest.approx(0.30, abs=0.01)


def test_a_managed_alternator_idles_the_battery_and_jumps_on_overrun(make: Make) -> None:
    # as two real cars and published systems show: minutes at 12.5–13.1 V, pulses of 14.5–15.4 V
    done = run(make(alternator={"regulation": "managed"}, logger={"rate": 10.0}, battery={"state_of_charge": 0.84}))
    block, drive = whole(done), done.truth.drives[1]
    reduced = [phase for phase in drive.charging.phases if phase.phase == "reduced"]
    assert sum(phase.end - phase.start for phase in reduced) > 5 * 60 * 10**6
    assert block.amps is not None
    for phase in reduced:
        late = (block.t_us > phase.start + 15 * 10**6) & (block.t_us < phase.end)
        if late.any():
            assert 12.3 < np.median(block.volts[late]) < 13.15
            assert abs(float(np.median(block.amps[late]))) < 4.0
    pulses = [phase for phase in drive.charging.phases if phase.phase == "overrun"]
    assert pulses
    assert all(phase.end - phase.start < 15 * 10**6 for phase in pulses)
    assert max(float(block.volts[(block.t_us > p.start) & (block.t_us < p.end)].max()) for p in pulses) > 14.4


@pytest.mark.parametrize(
    ("fault", "low", "high"),
    [("no_charge", 11.5, 12.6), ("undervoltage", 12.3, 12.9), ("overvoltage", 15.5, 16.2), ("late", 11.5, 14.4)],
)
def test_a_faulty_charging_system_shows_it_in_its_volts(make: Make, fault: str, low: float, high: float) -> None:
    done = run(make(alternator={"fault": fault}))
    drive = done.truth.drives[0]
    volts = running_volts(done, drive)
    assert drive.charging.faults == [fault]
    assert low < np.quantile(volts, 0.05)
    assert np.quantile(volts, 0.95) < high
    if fault == "late":
        assert drive.charging.delay_s is not None
        assert drive.charging.delay_s > 60.0
        assert volts[0] < 12.7
        assert volts[-1] > 14.0


def test_an_unstable_regulator_hunts_by_more_than_a_volt(make: Make) -> None:
    steady, hunting = (run(make(alternator={"fault": fault})) for fault in ("none", "unstable"))
    volts = [running_volts(done, done.truth.drives[0])[60:] for done in (steady, hunting)]
    spreads = [float(np.quantile(v, 0.95) - np.quantile(v, 0.05)) for v in volts]
    assert spreads[1] > 1.0
    assert spreads[0] < 0.1


def test_an_open_diode_ripples_where_the_logger_is_fast_and_hardly_where_it_averages(make: Make) -> None:
    # trade articles: ≥ 0.5 V of ripple is a rectifier fault, > 50–100 mV suspect
    def spread(fault: str, averaging: bool) -> float:
        done = run(
            make(start=EVENING, days=0.02, alternator={"fault": fault}, logger={"rate": 50.0, "averaging": averaging})
        )
        return float(np.median(np.abs(np.diff(running_volts(done, done.truth.drives[0])))))

    assert spread("ripple", averaging=False) > 0.1
    assert spread("none", averaging=False) < 0.03
    # an average over 20 ms leaves at most 1/(π · 200 Hz · 20 ms) = 8 % of the 0.35 V amplitude
    assert spread("ripple", averaging=True) < 0.028


def test_a_charging_fault_begins_and_ends_when_it_is_told_to(make: Make) -> None:
    done = run(make(alternator={"fault": "no_charge", "fault_after": 3 * 3600.0}))
    assert [drive.charging.faults for drive in done.truth.drives] == [[], ["no_charge"]]


def test_a_stop_lies_inside_its_drive_and_draws_from_the_battery(make: Make) -> None:
    trips = make().trips[0].model_copy(update={"stops": 3})
    done = run(make(trips=[trips.model_dump()], logger={"rate": 10.0}))
    block, drive = whole(done), done.truth.drives[0]
    assert len(done.truth.drives) == 1
    assert len(drive.stops) == 3
    assert block.amps is not None
    for stop in drive.stops:
        amps = block.amps[(block.t_us > stop.start + 10**5) & (block.t_us < stop.end)]
        assert np.all((amps < -10.0) & (amps > -40.0))
        restart = block.amps[(block.t_us > stop.end) & (block.t_us < stop.end + 5 * 10**5)]
        assert restart.min() < -100.0


def test_failed_starts_belong_to_the_stand_before_the_drive(make: Make) -> None:
    trips = make().trips[0].model_copy(update={"failed_starts": 2})
    done = run(make(trips=[trips.model_dump()], logger={"rate": 10.0}))
    failed = done.truth.stands[0].failed_starts
    assert len(failed) == 2
    assert failed[0].start < failed[1].start < done.truth.drives[0].start
    block = whole(done)
    assert block.amps is not None
    for crank in failed:
        assert block.amps[(block.t_us > crank.start) & (block.t_us < crank.start + 10**6)].min() < -100.0


def test_a_diesel_preheats_before_it_cranks_in_the_cold(make: Make) -> None:
    seen = {}
    for fuel in ("petrol", "diesel"):
        done = run(make(days=0.1, vehicle={"fuel": fuel}, ambient={"mean": 0.0}))
        block, start = whole(done), done.truth.drives[0].start
        assert block.amps is not None
        seen[fuel] = float(block.amps[(block.t_us > start - 25 * 10**6) & (block.t_us <= start)].min())
    assert seen["diesel"] < -40.0
    assert seen["petrol"] > -10.0


def test_a_charger_while_parked_is_charge_and_no_drive(make: Make) -> None:
    done = run(make(trips=[], chargers=[{"after": 7200.0, "duration": 3600.0, "max": 6.0}]))
    block, stand = whole(done), done.truth.stands[0]
    assert not done.truth.drives
    assert [(c.end - c.start) / 1e6 for c in stand.charges] == [3600.0]
    assert block.amps is not None
    assert 1.0 < float(block.amps.max()) <= 6.0
    assert stand.charge_in_ah == pytest.approx(float(np.sum(block.amps[block.amps > 0])) / 3600, rel=1e-3)


def test_a_bad_connection_lowers_the_volts_in_proportion_to_the_current(make: Make) -> None:
    done = [run(make(days=0.1, vehicle={"connection": ohm})) for ohm in (0.0, 0.03)]
    sound, bad = (d.truth.drives[0].crank for d in done)
    assert sound is not None
    assert bad is not None
    assert bad.resistance_mohm - sound.resistance_mohm == pytest.approx(30.0, abs=0.5)  # type: ignore[operator]  # known


def test_behind_a_bad_connection_the_battery_gets_less_of_the_regulated_volts(make: Make) -> None:
    sound, bad = (run(make(vehicle={"connection": ohm})).truth.drives[0] for ohm in (0.0, 0.2))
    assert sound.charge_in_ah is not None
    assert bad.charge_in_ah is not None
    assert bad.charge_in_ah < 0.8 * sound.charge_in_ah
    assert bad.charging.volts_median == pytest.approx(sound.charging.volts_median, abs=0.1)  # the gauge looks right


def test_a_shorted_cell_takes_2_1_volts_from_a_rested_battery(make: Make) -> None:
    # 10.5 V rested is the signature of one dead cell (12.6 − 2.1), from memory
    done = run(make(trips=[], battery={"state_of_charge": 0.97, "shorted_cell": {"after": 3600.0, "over": 600.0}}))
    volts = whole(done).volts
    assert volts[-1] - volts[3000] == pytest.approx(-2.1, abs=0.03)
    assert volts[-1] == pytest.approx(10.5, abs=0.15)


@pytest.mark.parametrize("nominal", [6.0, 24.0])
def test_other_nominal_voltages_scale(make: Make, nominal: float) -> None:
    done = run(make(battery={"nominal": nominal}))
    volts = running_volts(done, done.truth.drives[0], nominal / 12)
    assert 13.5 < float(np.median(volts)) < 14.4
    rest = done.truth.stands[1].rest
    assert rest.ocv_volts is not None
    assert 12.3 < rest.ocv_volts / (nominal / 12) < 12.7


def test_a_stuck_drain_is_a_level_step_at_its_time(make: Make) -> None:
    done = run(make(drains=[{"kind": "stuck", "amps": 0.25, "after": 6 * 3600.0}]))
    stand = done.truth.stands[1]
    assert [(s.at, round(s.from_a, 6), round(s.to_a, 6)) for s in stand.level_steps] == [
        (done.plan.start + 6 * 3600 * 10**6, 0.018, 0.268)
    ]
    assert [round(p.amps, 6) for p in stand.plateaus] == [-0.018, -0.268]
    block = whole(done)
    assert block.amps is not None
    assert block.amps[6 * 3600 - 10] == pytest.approx(-0.018)
    assert block.amps[6 * 3600 + 10] == pytest.approx(-0.268)


def test_a_module_that_stops_sleeping_raises_the_level_of_later_stands(make: Make) -> None:
    done = run(make(keeps_awake=[{"amps": 0.3, "after": 3 * 3600.0}]))
    levels = [stand.sleep_current_a for stand in done.truth.stands]
    assert levels == pytest.approx([0.018, 0.018, 0.318])


@pytest.mark.parametrize("kind", ["temperature", "rising", "constant"])
def test_a_drain_follows_its_kind_through_the_night(make: Make, kind: str) -> None:
    done = run(make(trips=[], ambient={"swing": 10.0}, drains=[{"kind": kind, "amps": 0.2}]))
    block = whole(done)
    assert block.amps is not None
    first, last = -float(block.amps[100]) - 0.018, -float(block.amps[-1]) - 0.018
    assert first == pytest.approx({"temperature": 0.2, "rising": 0.0, "constant": 0.2}[kind], abs=0.04)
    if kind == "temperature":  # 12 ± 5 °C at 5 % a degree
        drawn = -block.amps - 0.018
        assert drawn.max() / drawn.min() > 1.3
    else:
        assert last == pytest.approx(0.2, abs=0.001)


def test_an_intermittent_drain_comes_and_goes_as_wake_ups(make: Make) -> None:
    done = run(make(trips=[], drains=[{"kind": "intermittent", "amps": 0.5, "on": 600.0, "off": 3600.0}]))
    wakes = done.truth.stands[0].wake_ups
    assert len(wakes) >= 5
    assert all(200 <= (w.end - w.start) / 1e6 <= 1000 for w in wakes)


def test_a_visit_is_a_normal_wake_up(make: Make) -> None:
    done = run(make(visits=[{"at": 6 * 3600.0, "amps": 4.0, "duration": 200.0}]))
    (wake,) = done.truth.stands[1].wake_ups
    assert (wake.start - done.plan.start) / 1e6 == 6 * 3600.0
    assert wake.peak_a == pytest.approx(4.0, rel=0.08)


def test_an_engine_restarted_after_half_a_minute_leaves_a_stand_that_never_settles(make: Make) -> None:
    trips: list[dict[str, Any]] = [
        {"at": time(20, 0), "duration": 600.0},
        {"at": time(20, 10, 30), "duration": 600.0},
    ]
    stands = run(make(trips=trips)).truth.stands
    assert stands[1].settled_at is None
    assert stands[1].sleep_current_a is None
    assert (stands[1].end - stands[1].start) / 1e6 == 30.0  # type: ignore[operator]  # it ended


def test_trips_that_overlap_are_refused_with_their_time(make: Make) -> None:
    trips = [{"at": time(20, 0), "duration": 3600.0}, {"at": time(20, 30), "duration": 600.0}]
    with pytest.raises(SettingError, match="2025-03-03 20:30"):
        run(make(trips=trips))
