"""What the detectors must be told of the vehicle, and the scale of its battery."""

from __future__ import annotations

from dataclasses import dataclass

from monitor.base.vehicle import BatteryKind, Vehicle

CAR_AH, LEAST_LOADS = 48.0, 0.25  # with so much a vehicle has a car's loads, else this share or more; our choice


@dataclass(frozen=True, slots=True)
class Facts:
    """Configuration of the engine; None where the owner has not said.

    nominal_v       6, 12 or 24 V; all voltage thresholds are written for 12 V and multiplied by `scale`
    kind            battery kind, for open-circuit tables and charging voltages
    capacity_ah     at the 20 h rate
    zero_offset_a   known uncertainty of the logger's zero, ± A; widens the interval of the sleep current
    cylinders       of the engine, to read its speed from the compression ripple of a crank; four if not said
    gap_s           an interval between samples longer than this is a gap; None: judged from its neighbours
    """

    nominal_v: float = 12.0
    kind: BatteryKind | None = None
    capacity_ah: float | None = None
    zero_offset_a: float = 0.0
    cylinders: int = 4
    gap_s: float | None = None

    @classmethod
    def of(cls, vehicle: Vehicle) -> Facts:
        """What a vehicle file says of these."""
        return cls(
            nominal_v=vehicle.battery.nominal_v,
            kind=vehicle.battery.kind,
            capacity_ah=vehicle.battery.capacity_ah,
            zero_offset_a=vehicle.log.zero_offset_a,
            cylinders=vehicle.vehicle.cylinders or 4,
            gap_s=vehicle.log.gap_s,
        )

    @property
    def scale(self) -> float:
        """Factor from the 12 V thresholds to this battery.

        >>> Facts(nominal_v=24).scale
        2.0
        """
        return self.nominal_v / 12.0

    @property
    def loads(self) -> float:
        """Share of a car's loads that this vehicle's may be: a small battery feeds small ones.

        >>> Facts(capacity_ah=12.0).loads, Facts(capacity_ah=70.0).loads, Facts().loads
        (0.25, 1.0, 1.0)
        """
        return 1.0 if self.capacity_ah is None else min(max(self.capacity_ah / CAR_AH, LEAST_LOADS), 1.0)
