"""What the engine was measured to reach, log by log: the ground of the bars.

Written by `python -m tests.scoreboard --write`: 2026-11-25, first seed 700000.
To be written anew when the engine has become better; to be looked into, not rewritten, when it has become worse.
"""

from tests.scoreboard.bars import Measured

MEASURED: dict[float, dict[str, Measured]] = {
    1.0: {
        "borders": Measured(14, 104),
        "borders_found": Measured(5, 104),
        "settled_at": Measured(10, 104),
        "time_to_sleep": Measured(13, 104),
        "sleep_current": Measured(7, 104),
        "wake_ups": Measured(6, 84),
        "wake_charge": Measured(7, 84),
        "wake_charge_plain": Measured(23, 84),
        "cranks": Measured(8, 96),
        "failed_starts": Measured(10, 20),
        "crank_volts_min": Measured(1, 95),
        "crank_length": Measured(0, 10),
        "stops": Measured(39, 66),
        "stand_charge_in": Measured(2, 104),
        "stand_charge_out": Measured(24, 104),
        "stand_charge_net": Measured(25, 104),
        "drive_charge_in": Measured(20, 104),
        "drive_charge_out": Measured(28, 104),
        "drive_charge_net": Measured(14, 104),
        "faults": Measured(8, 12),
        "regulation": Measured(1, 78),
    },
    10.0: {
        "borders": Measured(9, 104),
        "borders_found": Measured(2, 104),
        "settled_at": Measured(4, 104),
        "time_to_sleep": Measured(6, 104),
        "sleep_current": Measured(1, 104),
        "wake_ups": Measured(5, 77),
        "wake_charge": Measured(6, 77),
        "wake_charge_plain": Measured(6, 77),
        "cranks": Measured(2, 104),
        "failed_starts": Measured(3, 14),
        "crank_volts_min": Measured(1, 104),
        "crank_length": Measured(13, 104),
        "stops": Measured(5, 53),
        "stand_charge_in": Measured(0, 104),
        "stand_charge_out": Measured(8, 104),
        "stand_charge_net": Measured(8, 104),
        "drive_charge_in": Measured(7, 104),
        "drive_charge_out": Measured(12, 104),
        "drive_charge_net": Measured(5, 104),
        "faults": Measured(2, 11),
        "regulation": Measured(0, 78),
    },
}
FALSE_LOGS = Measured(2, 40)  # healthy logs with a false finding
