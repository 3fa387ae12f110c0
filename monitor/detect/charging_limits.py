"""Limits of the charging detector, each with its source; volts are for a 12 V battery."""

from __future__ import annotations

# Charging begins: our choice. Above any rest voltage of a lead-acid battery (surface charge falls to 13.2 V at once),
# and the voltage below which one published engine-managed system counts as not charging.
CHARGING_V = 13.2
CHARGING_A = 0.5  # our choice: above the offset of a clamp
CHARGING_S = 3  # our choice: longer than the rebound after a crank, shorter than any start-up phase
UNSEEN_S = 5  # our choice: unobserved for longer than this, and the delay could have ended there

# Engine-managed systems. One published system (service information, 2004 on): 14.5 V for 30 s after the start; economy
# 13.0 V while −8 A < I < 15 A; reduction 12.9 V while −7 A < I < 2 A; below 13.2 V for 45 min forces 13.9-15.5 V.
# Others cut back to 12.5 V or below and go to 15.0-15.4 V on overrun.
REDUCED_LOWEST_V = 12.3
REDUCED_BELOW_V = 13.3  # our choice: away from the battery or with an offset, the economy level reads higher
REDUCED_SWING_V = 0.8  # our choice: that only counts where the same drive also reaches a level this much higher
ECONOMY_LOWEST_A = -8.0
OVERRUN_V = 14.6
OVERRUN_ABOVE_V = 0.4  # our choice: above the drive's usual level, twice the width of a fixed regulator
OVERRUN_LONGEST_BINS = 3  # our choice: a longer one is a level of its own
SULFATING_S = 45 * 60

# Regulation.
START_LEFT_OUT_S = 120  # our choice: start-up phase and first rush of recharge
REGULATION_LEAST_BINS = 5  # our choice: fewer minutes say nothing about a regulator
FIXED_WIDTH_V = 0.4  # ±0.2 V
MANAGED_LEAST_BINS = 2  # our choice: minutes on each level
MANAGED_SHARE = 0.05
MANAGED_WIDTH_V = 0.6  # our choice: wider than a regulator's temperature drift within a drive
COMPENSATED_LEAST_K = 8.0  # our choice: a smaller change of temperature shows no slope
COMPENSATED_V_PER_K = (-0.025, -0.0015)  # published: −3.5 ± 2, −10, charger −17, battery rule −18 mV/°C
COMPENSATED_LEAST_V = 0.06  # our choice: the level must really have moved
COMPENSATED_EXPLAINED = 0.7  # our choice: share of the variance that the temperature explains
COMPENSATED_WIDTH_V = 0.3  # our choice: what may remain about the line (5 to 95 %)

# Phases.
MOST_PHASES = 40  # our choice: more is no help to a reader
RECHARGE_SHARE = 0.05  # A per Ah: our choice, five times the 1 % of capacity at which a battery counts as full
RECHARGE_A = 3.0  # the same for 60 Ah, where the capacity is not known
RECHARGE_LEVEL_V = 0.3  # our choice, volts alone: a start level this much above what follows
RECHARGE_SAME_V = 0.2
TAIL_LEAST_S = 600  # our choice: charge current is compared over the last two five-minute spells
TAIL_LEVEL_SHARE = 0.10
TAIL_LEVEL_A = 0.2

# Faults.
NO_CHARGE_V = 13.0
NO_CHARGE_ALONE_V = 12.6  # running, no smart charging: below this it is not charging (from memory)
NO_CHARGE_LATER_V = 12.3  # volts alone, after charging was seen: below the cut-back level of managed systems
NO_CHARGE_A = -1.0  # our choice: net discharge, clear of a clamp's offset
NO_CHARGE_BINS = 5  # our choice: minutes on end; start-up, ramps and stops are shorter
UNLIFTED_S, UNLIFTED_WIDTH_V = 480, 0.12  # our choice: so long behind START_LEFT_OUT_S, within so little
LATE_S = 60  # our choice: twice the published start-up phase; a regulator that needs revving is later
FILLING_V = 0.3  # our choice: no engine on its battery alone raises its volts so far from one minute to the next
LATE_A = -3.0  # our choice: the battery is really carrying the vehicle meanwhile
OVER_V = 15.5  # sustained, above 0 °C (from memory 15.5-15.8 V)
OVER_AT_ONCE_V = 16.0  # equipment maximum, ISO 16750-2
OVER_COLD_V_PER_K = 0.018  # battery rule −3 mV/°C a cell, below 0 °C
OVER_SAMPLES = 3  # deviations of 1 s are normal (regulator note)
OVER_SAMPLES_SLOW = 2
SLOW_SAMPLES = 30  # a minute with fewer is from a slow logger
HUNTING_MOVE_V = 0.3  # our choice: from one second to the next; managed systems ramp at 0.05 V/s
HUNTING_SLOW_S, HUNTING_SLOW_V = 3, 0.45  # our choice: …or within three, thrice what such a ramp moves
HUNTING_PER_MINUTE = 10  # our choice: reversals a minute, faster than anybody brakes and accelerates
HUNTING_BINS = 3
HUNTING_SHARE = 1 / 2  # our choice: a regulator that hunts mostly does; pulsed loads on a weak battery reach a third
RIPPLE_LEAST_COUNT = 5  # samples in a second
RIPPLE_LEAST_SECONDS = 60
RIPPLE_RMS_MV = 100.0  # trade limits at the battery by a meter's AC range: 50 mV suspect, some allow 100
PEAK_TO_PEAK_PER_RMS = 2.83  # of a sine
