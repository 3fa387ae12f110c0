"""What the engine was measured to reach, log by log: the ground of the bars.

Written by `python -m tests.scoreboard --write`: 2026-11-27, first seed 1400000.
To be written anew when the engine has become better; to be looked into, not rewritten, when it has become worse.
"""

from tests.scoreboard.bars import Measured

MEASURED: dict[float, dict[str, Measured]] = {
    1.0: {
        "borders": Measured(3, 104),
        "borders_found": Measured(1, 104),
        "settled_at": Measured(6, 104),
        "time_to_sleep": Measured(7, 104),
        "sleep_current": Measured(5, 104),
        "wake_ups": Measured(1, 73),
        "wake_charge": Measured(5, 73),
        "wake_charge_plain": Measured(13, 73),
        "cranks": Measured(0, 95),
        "failed_starts": Measured(0, 11),
        "crank_volts_min": Measured(0, 96),
        "crank_length": Measured(3, 13),
        "stops": Measured(25, 61),
        "stand_charge_in": Measured(0, 104),
        "stand_charge_out": Measured(6, 104),
        "stand_charge_net": Measured(8, 104),
        "drive_charge_in": Measured(20, 104),
        "drive_charge_out": Measured(24, 104),
        "drive_charge_net": Measured(11, 104),
        "faults": Measured(3, 11),
        "regulation": Measured(3, 78),
    },
    10.0: {
        "borders": Measured(2, 103),
        "borders_found": Measured(0, 103),
        "settled_at": Measured(0, 102),
        "time_to_sleep": Measured(0, 102),
        "sleep_current": Measured(0, 104),
        "wake_ups": Measured(6, 73),
        "wake_charge": Measured(0, 71),
        "wake_charge_plain": Measured(2, 71),
        "cranks": Measured(2, 103),
        "failed_starts": Measured(1, 19),
        "crank_volts_min": Measured(0, 103),
        "crank_length": Measured(17, 103),
        "stops": Measured(3, 55),
        "stand_charge_in": Measured(0, 104),
        "stand_charge_out": Measured(4, 104),
        "stand_charge_net": Measured(4, 104),
        "drive_charge_in": Measured(24, 103),
        "drive_charge_out": Measured(26, 103),
        "drive_charge_net": Measured(6, 103),
        "faults": Measured(1, 13),
        "regulation": Measured(3, 77),
    },
}
FALSE_LOGS = Measured(1, 40)  # healthy logs with a false finding
