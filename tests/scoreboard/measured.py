"""What the engine was measured to reach, log by log: the ground of the bars.

Written by `python -m tests.scoreboard --write`: 2026-11-25, first seed 800000.
To be written anew when the engine has become better; to be looked into, not rewritten, when it has become worse.
"""

from tests.scoreboard.bars import Measured

MEASURED: dict[float, dict[str, Measured]] = {
    1.0: {
        "borders": Measured(19, 104),
        "borders_found": Measured(4, 104),
        "settled_at": Measured(6, 104),
        "time_to_sleep": Measured(9, 104),
        "sleep_current": Measured(2, 104),
        "wake_ups": Measured(5, 82),
        "wake_charge": Measured(5, 82),
        "wake_charge_plain": Measured(12, 82),
        "cranks": Measured(11, 94),
        "failed_starts": Measured(11, 21),
        "crank_volts_min": Measured(1, 95),
        "stops": Measured(34, 63),
        "stand_charge_in": Measured(0, 104),
        "stand_charge_out": Measured(22, 104),
        "stand_charge_net": Measured(21, 104),
        "drive_charge_in": Measured(23, 104),
        "drive_charge_out": Measured(32, 104),
        "drive_charge_net": Measured(17, 104),
        "faults": Measured(5, 12),
        "regulation": Measured(2, 78),
    },
    10.0: {
        "borders": Measured(8, 103),
        "borders_found": Measured(3, 103),
        "settled_at": Measured(4, 103),
        "time_to_sleep": Measured(6, 103),
        "sleep_current": Measured(1, 104),
        "wake_ups": Measured(6, 73),
        "wake_charge": Measured(2, 73),
        "wake_charge_plain": Measured(2, 73),
        "cranks": Measured(2, 103),
        "failed_starts": Measured(4, 18),
        "crank_volts_min": Measured(1, 103),
        "crank_length": Measured(10, 103),
        "stops": Measured(9, 64),
        "stand_charge_in": Measured(0, 104),
        "stand_charge_out": Measured(5, 104),
        "stand_charge_net": Measured(5, 104),
        "drive_charge_in": Measured(16, 103),
        "drive_charge_out": Measured(18, 103),
        "drive_charge_net": Measured(5, 103),
        "faults": Measured(6, 13),
        "regulation": Measured(0, 77),
    },
}
FALSE_LOGS = Measured(3, 40)  # healthy logs with a false finding
