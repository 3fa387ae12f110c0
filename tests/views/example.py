"""A handmade result document: three nights of an invented car, with something of everything the text must tell."""

from datetime import datetime
from zoneinfo import ZoneInfo

from monitor.base.fields import Span
from monitor.base.results import (
    Charging,
    ClockStep,
    Crank,
    Drive,
    LevelStep,
    Log,
    Notice,
    PhaseSpan,
    Plateau,
    Rate,
    RefusedRow,
    Rest,
    Result,
    Stand,
    WakeUp,
)

ZONE = ZoneInfo("Europe/Oslo")


def at(text: str) -> int:
    """Microseconds UTC of a local time in November 2025, as "3 17:58:10"."""
    day, _, clock = text.partition(" ")
    hour, minute, *rest = (int(part) for part in clock.split(":"))
    moment = datetime(2025, 11, int(day), hour, minute, rest[0] if rest else 0, tzinfo=ZONE)
    return round(moment.timestamp() * 1e6)


def wake(start: str, seconds: float, excess_a: float, peak_a: float) -> WakeUp:
    begin = at(start)
    return WakeUp(
        start=begin,
        end=begin + round(seconds * 1e6),
        peak_a=peak_a,
        excess_a=excess_a,
        charge_ah=excess_a * seconds / 3600,
    )


def every_ten_minutes() -> list[WakeUp]:
    clock = [
        f"{3 + (18 * 60 + 40 + 10 * n) // 1440} {(18 * 60 + 40 + 10 * n) // 60 % 24}:{(40 + 10 * n) % 60}"
        for n in range(48)
    ]
    wakes = [wake(start, 45, 0.16, 0.24) for start in clock]
    wakes[20] = wake("3 22:00", 180, 0.8, 1.25)
    return wakes


FIRST_NIGHT = Stand(
    start=at("3 17:58:10"),
    end=at("4 08:12:00"),
    settled_at=at("3 18:22:10"),
    time_to_sleep_s=24 * 60,
    sleep_current_a=0.018,
    sleep_current_low_a=0.0176,
    sleep_current_high_a=0.0184,
    plateaus=[
        Plateau(start=at("3 18:22:10"), end=at("4 02:10"), amps=-0.018, volts=12.61),
        Plateau(start=at("4 02:10"), end=at("4 08:00"), amps=-0.24, volts=12.5),
    ],
    level_steps=[LevelStep(at=at("4 02:10"), from_a=0.018, to_a=0.24)],
    wake_ups=every_ten_minutes(),
    charge_in_ah=0.0,
    charge_out_ah=1.92,
    unobserved_s=840.0,
    rest=Rest(
        volts=12.52,
        settled=False,
        ocv_volts=12.48,
        ocv_low=12.44,
        ocv_high=12.51,
        decay_mv_per_h=4.2,
        state_of_charge=0.78,
        state_of_charge_low=0.66,
        state_of_charge_high=0.9,
        basis="BCI table for flooded batteries",
    ),
    failed_starts=[
        Crank(
            start=at("4 08:11:20"), duration_s=1.24, volts_before=12.31, volts_min=7.92, amps_peak=-388.0, sampled_hz=10
        )
    ],
)

COMMUTE = Drive(
    start=at("4 08:12:00"),
    end=at("4 08:44:30"),
    crank=Crank(
        start=at("4 08:12:00"),
        duration_s=0.84,
        volts_before=12.29,
        volts_min=8.87,
        amps_peak=-412.0,
        amps_plateau=-148.0,
        resistance_mohm=8.3,
        engine_rpm=212,
        sampled_hz=10,
    ),
    charging=Charging(
        delay_s=2.4,
        volts_median=14.32,
        volts_p05=13.95,
        volts_p95=14.55,
        regulation="compensated",
        phases=[
            PhaseSpan(phase="first_recharge", start=at("4 08:12:03"), end=at("4 08:20"), volts=14.5),
            PhaseSpan(phase="regulated", start=at("4 08:20"), end=at("4 08:40"), volts=14.3),
            PhaseSpan(phase="overrun", start=at("4 08:40"), end=at("4 08:41"), volts=14.9),
            PhaseSpan(phase="overrun", start=at("4 08:42"), end=at("4 08:43"), volts=15.1),
        ],
        tail_amps=1.8,
        ripple_mv=22,
    ),
    charge_in_ah=2.31,
    charge_out_ah=0.05,
    stops=[Span(start=at("4 08:25"), end=at("4 08:26:10")), Span(start=at("4 08:30"), end=at("4 08:31"))],
)

CHARGED_AT_HOME = Stand(
    start=at("4 08:44:30"),
    end=at("5 07:10"),
    charges=[Span(start=at("4 19:00"), end=at("5 01:30"))],
    charge_in_ah=11.2,
    charge_out_ah=0.4,
    rest=Rest(volts=12.91, settled=None),
)

NO_CHARGE = Drive(
    start=at("5 07:10"),
    end=at("5 07:25"),
    open=True,
    charging=Charging(volts_median=12.2, volts_p05=12.0, volts_p95=12.4, regulation="none", faults=["no_charge"]),
    charge_in_ah=0.0,
    charge_out_ah=1.1,
    unobserved_s=61.0,
)

RESULT = Result(
    vehicle="estate car, blue",
    log=Log(
        first=at("3 17:58:10"),
        last=at("5 07:25"),
        samples=1_346_000,
        refused={"not a number": 12, "overload": 3},
        refused_first={
            "not a number": [
                RefusedRow(file="night.csv", line=7, text="2025-11-03 17:58:11;ERR;"),
                RefusedRow(file="night.csv", line=9, text="\x1b[31m2025-11-03 17:58:13;?;?"),
            ]
        },
        duplicates=4,
        reordered=1,
        clock_steps=[ClockStep(at=at("4 03:00"), seconds=-3600)],
        gaps=[Span(start=at("4 01:00"), end=at("4 01:14"))],
        unobserved_s=901.0,
        channels=["volts", "amps", "celsius"],
        rate_hz=Rate(median=10.0, max=12.0),
        notices=[
            Notice(
                kind="reversed",
                text="The current looks reversed: charge while standing, discharge while driving.",
                setting="--current-sign reversed",
            )
        ],
    ),
    stands=[FIRST_NIGHT, CHARGED_AT_HOME],
    drives=[COMMUTE, NO_CHARGE],
)

VOLTS_ALONE = Result(
    log=Log(
        first=at("3 18:00"),
        last=at("4 07:00"),
        samples=15_600,
        channels=["volts"],
        rate_hz=Rate(median=1 / 3, max=1),
    ),
    stands=[
        Stand(
            start=at("3 18:00"),
            end=at("4 07:00"),
            open=True,
            rest=Rest(
                volts=12.4,
                settled=True,
                ocv_volts=12.4,
                basis="a LiFePO4 battery between 12.9 and 13.35 V does not show its state of charge",
            ),
        )
    ],
    drives=[
        Drive(
            start=at("4 07:00"),
            crank=Crank(start=at("4 07:00"), volts_before=12.4, volts_min=11.2, sampled_hz=1 / 3),
        )
    ],
)

NOTHING = Result(log=Log(refused={"not a number": 2}))
