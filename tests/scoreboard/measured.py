"""What the engine was measured to reach, log by log: the ground of the bars.

Written by `python -m tests.scoreboard --write`: 2026-11-27, first seed 1650000.
To be written anew when the engine has become better; to be looked into, not rewritten, when it has become worse.
"""

from tests.scoreboard.bars import Measured

MEASURED: dict[float, dict[str, Measured]] = {
    1.0: {
        "borders": Measured(6, 104),
        "borders_found": Measured(4, 104),
        "settled_at": Measured(9, 104),
        "time_to_sleep": Measured(10, 104),
        "sleep_current": Measured(4, 104),
        "wake_ups": Measured(6, 82),
        "wake_charge": Measured(7, 82),
        "wake_charge_plain": Measured(18, 82),
        "cranks": Measured(4, 95),
        "failed_starts": Measured(2, 13),
        "crank_volts_min": Measured(0, 95),
        "crank_length": Measured(0, 12),
        "stops": Measured(24, 58),
        "stand_charge_in": Measured(0, 104),
        "stand_charge_out": Measured(14, 104),
        "stand_charge_net": Measured(14, 104),
        "drive_charge_in": Measured(29, 104),
        "drive_charge_out": Measured(33, 104),
        "drive_charge_net": Measured(13, 104),
        "faults": Measured(1, 11),
        "regulation": Measured(1, 78),
    },
    10.0: {
        "borders": Measured(6, 103),
        "borders_found": Measured(2, 103),
        "settled_at": Measured(1, 103),
        "time_to_sleep": Measured(2, 103),
        "sleep_current": Measured(2, 104),
        "wake_ups": Measured(6, 66),
        "wake_charge": Measured(0, 65),
        "wake_charge_plain": Measured(0, 65),
        "cranks": Measured(0, 103),
        "failed_starts": Measured(2, 14),
        "crank_volts_min": Measured(0, 103),
        "crank_length": Measured(2, 103),
        "stops": Measured(5, 57),
        "stand_charge_in": Measured(0, 104),
        "stand_charge_out": Measured(4, 104),
        "stand_charge_net": Measured(4, 104),
        "drive_charge_in": Measured(15, 103),
        "drive_charge_out": Measured(16, 103),
        "drive_charge_net": Measured(2, 103),
        "faults": Measured(0, 11),
        "regulation": Measured(0, 77),
    },
}
FALSE_LOGS = Measured(2, 40)  # healthy logs with a false finding
