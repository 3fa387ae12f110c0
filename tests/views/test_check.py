"""The page of the fitting check: findings with what to mend, cautions, one line at the end."""

from io import StringIO

from monitor.assess.fitting import Finding, ok, to_mend, unknown
from monitor.views.check import print_before, print_findings, verdict


def page(*findings: Finding) -> str:
    out = StringIO()
    print_findings(findings, out, 80)
    return out.getvalue()


def test_a_finding_to_mend_says_what_to_do_below_it() -> None:
    text = page(ok("rate", "2 readings a second"), to_mend("zero", "+8 mA with no current flowing", "zero the clamp"))
    assert text.startswith(
        "\nok    Rate: 2 readings a second.\nMEND  Zero: +8 mA with no current flowing.\n      Mend: zero the clamp.\n"
    )


def test_the_last_line_is_the_verdict() -> None:
    assert page(ok("rate", "x"), unknown("sign", "y")).rstrip().splitlines()[-1] == "Fit to leave. Not known: sign."


def test_what_is_to_mend_comes_before_what_is_not_known() -> None:
    assert verdict([unknown("sign", "y"), to_mend("zero", "x", "m")]) == "Mend first: zero. Not known: sign."


def test_what_a_logger_sends_cannot_command_the_terminal() -> None:
    assert "\x1b" not in page(to_mend("lines", '1 refused: as "\x1b[2J"', "look"))


def test_all_cautions_of_the_trade_are_on_the_two_pages() -> None:
    before = StringIO()
    print_before(before, 200)
    text = before.getvalue() + page(ok("rate", "x"))
    for word in ("crank", "fuse", "earth", "hydrogen", "Airbags", "Orange", "service manual", "shunt"):
        assert word in text
