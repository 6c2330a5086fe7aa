"""What is printed for people."""

import pytest
from goodwire import Figure, Outcome, State


@pytest.mark.parametrize(
    ("value", "uncertainty", "said"),
    [
        (-2.50619e-05, 0.00012, "-0.00003 ± 0.00012 dB"),
        (-3e-07, 0.0049, "0.0000 ± 0.0049 dB"),
        (3.099918822, 4.1e-08, "3.099919 ± 4.1e-08 dB"),
        (-100.8193, 0.012, "-100.819 ± 0.012 dB"),
        (15992.3, 13.0, "15992 ± 13 dB"),
        (1.0, 0.0, "1 ± 0 dB"),
    ],
)
def test_a_figure_has_the_decimals_of_two_digits_of_its_uncertainty(value, uncertainty, said):
    figure = Figure("gain", value, uncertainty, None, None, "dB", {})
    assert str(figure) == said


def test_outcomes_and_states_are_printed_as_their_words():
    assert f"{Outcome.PASS} {State.FAILED}" == "PASS FAILED" and str(Outcome.DRIFT) == "DRIFT"
    assert f"{Outcome.PASS:>6}" == "  PASS" and Outcome("FAIL") is Outcome.FAIL
