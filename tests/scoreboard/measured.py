"""What the engine was measured to reach, log by log: the ground of the bars.

Written by `python -m tests.scoreboard --write`: 2026-11-26, first seed 810000.
To be written anew when the engine has become better; to be looked into, not rewritten, when it has become worse.
"""

from tests.scoreboard.bars import Measured

MEASURED: dict[float, dict[str, Measured]] = {
    1.0: {
        "borders": Measured(8, 64),
        "borders_found": Measured(1, 64),
        "settled_at": Measured(2, 64),
        "time_to_sleep": Measured(2, 64),
        "sleep_current": Measured(1, 64),
        "wake_ups": Measured(3, 49),
        "wake_charge": Measured(6, 49),
        "wake_charge_plain": Measured(7, 49),
        "cranks": Measured(5, 61),
        "failed_starts": Measured(4, 12),
        "crank_volts_min": Measured(1, 62),
        "crank_length": Measured(2, 10),
        "stops": Measured(23, 40),
        "stand_charge_in": Measured(1, 64),
        "stand_charge_out": Measured(11, 64),
        "stand_charge_net": Measured(11, 64),
        "drive_charge_in": Measured(15, 64),
        "drive_charge_out": Measured(18, 64),
        "drive_charge_net": Measured(9, 64),
        "regulation": Measured(2, 48),
    },
    10.0: {
        "borders": Measured(4, 64),
        "borders_found": Measured(1, 64),
        "settled_at": Measured(4, 64),
        "time_to_sleep": Measured(4, 64),
        "sleep_current": Measured(2, 64),
        "wake_ups": Measured(6, 45),
        "wake_charge": Measured(2, 42),
        "wake_charge_plain": Measured(2, 42),
        "cranks": Measured(0, 64),
        "failed_starts": Measured(1, 12),
        "crank_volts_min": Measured(0, 64),
        "crank_length": Measured(7, 64),
        "stops": Measured(3, 36),
        "stand_charge_in": Measured(0, 64),
        "stand_charge_out": Measured(3, 64),
        "stand_charge_net": Measured(3, 64),
        "drive_charge_in": Measured(9, 64),
        "drive_charge_out": Measured(11, 64),
        "drive_charge_net": Measured(1, 64),
        "regulation": Measured(0, 48),
    },
}
FALSE_LOGS = Measured(4, 40)  # healthy logs with a false finding
