"""Battery, figures and the charge of each day, as a person reads them."""

import io
from datetime import UTC

from monitor.base.results import BatteryFindings, DayBalance, Estimate, Result
from monitor.views.balance import balance_rows, day_sentence
from monitor.views.replay import print_replay
from monitor.views.words import plain


def days(count):
    return [DayBalance(day=f"2025-03-{k + 1:02}", in_ah=1.0, out_ah=2.0, net_ah=-1.0) for k in range(count)]


def test_nothing_assessed_is_nothing_said():
    assert balance_rows(Result()) == []


def test_each_label_stands_once():
    told = balance_rows(Result(battery=BatteryFindings(statements=["One.", "Two."]), balance=days(2)))
    assert [label for label, _ in told] == ["Battery", "", "Charge", ""]


def test_a_day_without_current_is_left_out_and_a_gap_is_said():
    assert balance_rows(Result(balance=[*days(1), DayBalance(day="2025-03-09", unobserved_s=86400.0)])) == []
    told = day_sentence(DayBalance(day="2025-03-05", in_ah=0.0, out_ah=0.2, net_ah=-0.2, unobserved_s=7200.0))
    assert plain(told) == "Wed 2025-03-05: 0 Ah in, 0.2 Ah out, net −0.2 Ah; 2 h not observed."


def test_of_a_long_log_the_last_days_are_told():
    told = balance_rows(Result(balance=days(20)))
    assert told[0] == ("Charge", "6 days before are in the document only.")
    assert len(told) == 15


def test_a_capacity_is_told_with_its_interval_and_basis():
    found = BatteryFindings(capacity_ah=Estimate(value=61.2, low=48.0, high=79.0, basis="counted"))
    ((label, text),) = balance_rows(Result(battery=found))
    assert (label, plain(text)) == ("Figures", "Capacity about 61 Ah (48 to 79): counted.")


def test_the_page_of_a_replay_shows_them():
    page = io.StringIO()
    print_replay(Result(battery=BatteryFindings(statements=["A night costs 9.6 Ah."])), UTC, page, 100)
    assert "Battery   A night costs 9.6 Ah." in page.getvalue()
