"""What the engine was measured to reach, log by log: the ground of the bars.

Written by `python -m tests.scoreboard --write`: 2026-11-27, first seed 1020000.
To be written anew when the engine has become better; to be looked into, not rewritten, when it has become worse.
"""

from tests.scoreboard.bars import Measured

MEASURED: dict[float, dict[str, Measured]] = {
    1.0: {
        "borders": Measured(4, 64),
        "borders_found": Measured(1, 64),
        "settled_at": Measured(2, 64),
        "time_to_sleep": Measured(4, 64),
        "sleep_current": Measured(1, 64),
        "wake_ups": Measured(4, 49),
        "wake_charge": Measured(2, 49),
        "wake_charge_plain": Measured(6, 49),
        "cranks": Measured(1, 61),
        "failed_starts": Measured(2, 12),
        "crank_volts_min": Measured(2, 61),
        "crank_length": Measured(0, 11),
        "stops": Measured(20, 41),
        "stand_charge_in": Measured(1, 64),
        "stand_charge_out": Measured(7, 64),
        "stand_charge_net": Measured(7, 64),
        "drive_charge_in": Measured(17, 64),
        "drive_charge_out": Measured(18, 64),
        "drive_charge_net": Measured(10, 64),
        "regulation": Measured(0, 48),
    },
    10.0: {
        "borders": Measured(3, 64),
        "borders_found": Measured(0, 64),
        "settled_at": Measured(1, 64),
        "time_to_sleep": Measured(3, 64),
        "sleep_current": Measured(0, 64),
        "wake_ups": Measured(2, 44),
        "wake_charge": Measured(0, 43),
        "wake_charge_plain": Measured(1, 43),
        "cranks": Measured(0, 64),
        "crank_volts_min": Measured(1, 64),
        "crank_length": Measured(4, 64),
        "stops": Measured(3, 36),
        "stand_charge_in": Measured(0, 64),
        "stand_charge_out": Measured(5, 64),
        "stand_charge_net": Measured(5, 64),
        "drive_charge_in": Measured(11, 64),
        "drive_charge_out": Measured(11, 64),
        "drive_charge_net": Measured(1, 64),
        "regulation": Measured(0, 48),
    },
}
FALSE_LOGS = Measured(2, 40)  # healthy logs with a false finding
