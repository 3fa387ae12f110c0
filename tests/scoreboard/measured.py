"""What the engine was measured to reach, log by log: the ground of the bars.

Written by `python -m tests.scoreboard --write`: 2026-11-27, first seed 970000.
To be written anew when the engine has become better; to be looked into, not rewritten, when it has become worse.
"""

from tests.scoreboard.bars import Measured

MEASURED: dict[float, dict[str, Measured]] = {
    1.0: {
        "borders": Measured(2, 64),
        "borders_found": Measured(1, 64),
        "settled_at": Measured(2, 64),
        "time_to_sleep": Measured(2, 64),
        "sleep_current": Measured(1, 64),
        "wake_ups": Measured(4, 52),
        "wake_charge": Measured(1, 51),
        "wake_charge_plain": Measured(8, 51),
        "cranks": Measured(1, 61),
        "crank_volts_min": Measured(0, 61),
        "stops": Measured(23, 35),
        "stand_charge_in": Measured(0, 64),
        "stand_charge_out": Measured(11, 64),
        "stand_charge_net": Measured(11, 64),
        "drive_charge_in": Measured(11, 64),
        "drive_charge_out": Measured(15, 64),
        "drive_charge_net": Measured(6, 64),
        "regulation": Measured(3, 48),
    },
    10.0: {
        "borders": Measured(1, 63),
        "borders_found": Measured(0, 63),
        "settled_at": Measured(0, 63),
        "time_to_sleep": Measured(1, 63),
        "sleep_current": Measured(0, 64),
        "wake_ups": Measured(3, 41),
        "wake_charge": Measured(1, 39),
        "wake_charge_plain": Measured(1, 39),
        "cranks": Measured(0, 63),
        "failed_starts": Measured(0, 12),
        "crank_volts_min": Measured(0, 63),
        "crank_length": Measured(7, 63),
        "stops": Measured(8, 36),
        "stand_charge_in": Measured(0, 64),
        "stand_charge_out": Measured(2, 64),
        "stand_charge_net": Measured(2, 64),
        "drive_charge_in": Measured(8, 63),
        "drive_charge_out": Measured(9, 63),
        "drive_charge_net": Measured(2, 63),
        "regulation": Measured(0, 47),
    },
}
FALSE_LOGS = Measured(1, 40)  # healthy logs with a false finding
