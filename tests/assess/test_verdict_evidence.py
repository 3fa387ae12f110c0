"""Evidence: laws of the weighing."""

from hypothesis import given
from hypothesis import strategies as st

from monitor.assess.evidence import FAULTS, Observation, probability
from monitor.assess.sleeps import sleeps_of
from monitor.assess.verdict import judge
from tests.assess.verdict_logs import CAR, HOUR_US, crank, days, drive, log_of

WEIGHTS = st.lists(st.floats(-5, 5), max_size=8)


@given(WEIGHTS, st.floats(0.01, 5))
def test_more_evidence_for_a_fault_never_makes_it_less_sure(weights: list[float], more: float) -> None:
    evidence = [Observation("", {"drain": weight}) for weight in weights]
    assert probability("drain", [*evidence, Observation("", {"drain": more})]) >= probability("drain", evidence)


@given(WEIGHTS)
def test_evidence_on_one_fault_leaves_the_others_alone(weights: list[float]) -> None:
    evidence = [Observation("", {"drain": weight}) for weight in weights]
    assert {probability(fault, evidence) for fault in FAULTS if fault != "drain"} == {probability("usage", [])}


def test_more_drain_never_makes_a_drain_less_sure() -> None:
    sure = []
    for milliamps in range(5, 400, 5):
        found = judge(log_of(*days(night={"amps": milliamps / 1e3})), CAR)
        others = {other.cause: other.confidence for other in found.also}
        sure.append(found.confidence if found.cause == "drain" else others.get("drain", 0.0))
    assert sure == sorted(sure)


def test_a_stand_without_current_has_no_sleep() -> None:
    assert sleeps_of(log_of(*days(night={"amps": None}), has_amps=False), 1.0) == []


def test_rests_that_agree_need_not_be_long_to_show_a_drain() -> None:
    """75 mA asleep for two hours after each drive: one such rest may be a module timing out, six of six are none."""
    short = {"night": {"amps": 0.075, "hours": 2.6}}
    assert judge(log_of(*days(6, **short)), CAR).cause == "drain"
    assert judge(log_of(*days(1, **short)), CAR).cause == "undetermined"


def test_a_low_charge_proves_no_use_where_the_battery_is_worn() -> None:
    def verdict(ohms: float) -> str:
        trips = {"hours": 0.14, "into_ah": 0.3, "started": crank(0, resistance_mohm=ohms, sampled_hz=0.2)}
        return judge(log_of(*days(7, night={"ocv": 12.3, "charge": 0.72}, trip=trips)), CAR).cause

    assert verdict(5.2) == "usage"
    assert verdict(10.0) != "usage"


def test_charging_that_begins_late_needs_the_current_to_be_told_from_a_joint() -> None:
    def verdict(has_amps: bool) -> str:
        parts = days(4, night={} if has_amps else {"amps": None})
        parts[1] = drive(11 * HOUR_US, faults=["late"], delay_s=75.0)
        return judge(log_of(*parts, has_amps=has_amps), CAR).cause

    assert verdict(has_amps=True) == "charging"
    assert verdict(has_amps=False) != "charging"
