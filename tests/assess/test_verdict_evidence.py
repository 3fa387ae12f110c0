"""Evidence: laws of the weighing."""

from hypothesis import given
from hypothesis import strategies as st

from monitor.assess.evidence import FAULTS, Observation, probability
from monitor.assess.sleeps import sleeps_of
from monitor.assess.verdict import judge
from tests.assess.verdict_logs import CAR, days, log_of

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
