"""What the engine was measured to reach, log by log: the ground of the bars.

Written by `python -m tests.scoreboard --write`: 2026-11-25, first seed 600000.
To be written anew when the engine has become better; to be looked into, not rewritten, when it has become worse.
"""

from tests.scoreboard.bars import Measured

MEASURED: dict[float, dict[str, Measured]] = {
    1.0: {
        "borders": Measured(20, 104),
        "borders_found": Measured(9, 104),
        "settled_at": Measured(5, 104),
        "time_to_sleep": Measured(9, 104),
        "sleep_current": Measured(4, 104),
        "wake_ups": Measured(6, 86),
        "wake_charge": Measured(5, 84),
        "wake_charge_plain": Measured(13, 84),
        "cranks": Measured(12, 100),
        "failed_starts": Measured(11, 19),
        "crank_volts_min": Measured(2, 99),
        "crank_length": Measured(3, 12),
        "stops": Measured(35, 65),
        "stand_charge_in": Measured(2, 104),
        "stand_charge_out": Measured(22, 104),
        "stand_charge_net": Measured(22, 104),
        "drive_charge_in": Measured(24, 104),
        "drive_charge_out": Measured(30, 104),
        "drive_charge_net": Measured(15, 104),
        "faults": Measured(7, 11),
        "regulation": Measured(3, 78),
    },
    10.0: {
        "borders": Measured(5, 104),
        "borders_found": Measured(3, 104),
        "settled_at": Measured(3, 104),
        "time_to_sleep": Measured(6, 104),
        "sleep_current": Measured(2, 104),
        "wake_ups": Measured(10, 78),
        "wake_charge": Measured(2, 77),
        "wake_charge_plain": Measured(3, 77),
        "cranks": Measured(2, 104),
        "failed_starts": Measured(3, 12),
        "crank_volts_min": Measured(1, 104),
        "crank_length": Measured(17, 104),
        "stops": Measured(18, 54),
        "stand_charge_in": Measured(1, 104),
        "stand_charge_out": Measured(6, 104),
        "stand_charge_net": Measured(4, 104),
        "drive_charge_in": Measured(22, 104),
        "drive_charge_out": Measured(25, 104),
        "drive_charge_net": Measured(6, 104),
        "faults": Measured(7, 12),
        "regulation": Measured(2, 78),
    },
}
FALSE_LOGS = Measured(2, 40)  # healthy logs with a false finding
