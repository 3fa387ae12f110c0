"""What the engine was measured to reach, log by log: the ground of the bars.

Written by `python -m tests.scoreboard --write`: 2026-11-28, first seed 1790000.
To be written anew when the engine has become better; to be looked into, not rewritten, when it has become worse.
"""

from tests.scoreboard.bars import Measured

MEASURED: dict[float, dict[str, Measured]] = {
    1.0: {
        "borders": Measured(6, 104),
        "borders_found": Measured(1, 104),
        "settled_at": Measured(4, 104),
        "time_to_sleep": Measured(6, 104),
        "sleep_current": Measured(1, 104),
        "wake_ups": Measured(7, 80),
        "wake_charge": Measured(7, 80),
        "wake_charge_plain": Measured(24, 80),
        "cranks": Measured(1, 95),
        "failed_starts": Measured(2, 21),
        "crank_volts_min": Measured(0, 95),
        "crank_length": Measured(0, 19),
        "stops": Measured(32, 63),
        "stand_charge_in": Measured(1, 104),
        "stand_charge_out": Measured(13, 104),
        "stand_charge_net": Measured(13, 104),
        "drive_charge_in": Measured(20, 104),
        "drive_charge_out": Measured(24, 104),
        "drive_charge_net": Measured(11, 104),
        "regulation": Measured(0, 78),
    },
    10.0: {
        "borders": Measured(1, 104),
        "borders_found": Measured(0, 104),
        "settled_at": Measured(2, 104),
        "time_to_sleep": Measured(3, 104),
        "sleep_current": Measured(1, 104),
        "wake_ups": Measured(4, 62),
        "wake_charge": Measured(2, 61),
        "wake_charge_plain": Measured(3, 61),
        "cranks": Measured(0, 104),
        "failed_starts": Measured(0, 13),
        "crank_volts_min": Measured(0, 104),
        "crank_length": Measured(0, 104),
        "stops": Measured(4, 55),
        "stand_charge_in": Measured(1, 104),
        "stand_charge_out": Measured(3, 104),
        "stand_charge_net": Measured(2, 104),
        "drive_charge_in": Measured(16, 104),
        "drive_charge_out": Measured(17, 104),
        "drive_charge_net": Measured(0, 104),
        "faults": Measured(1, 12),
        "regulation": Measured(1, 78),
    },
}
FALSE_LOGS = Measured(1, 40)  # healthy logs with a false finding
