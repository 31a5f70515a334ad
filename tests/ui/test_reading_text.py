"""What may be typed for a reading, and what is asked before it is taken."""

import pytest

from wizard.ui.reading_text import Typed, read_typed


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0.7", 0.7),
        (",7", 0.7),
        (".7", 0.7),
        ("0,7 V", 0.7),
        ("700 mV", 0.7),
        ("700mv", 0.7),
        ("12.6", 12.6),
        (" 0 ", 0.0),
        ("open", "open"),
        ("OPEN", "open"),
        ("o", "open"),
    ],
)
def test_volts_are_read_however_they_are_written(text: str, value: float | str) -> None:
    typed = read_typed(text, 12.0)
    assert typed.value == pytest.approx(value) if isinstance(value, float) else typed.value == value
    assert not typed.question


def test_negative_volts_are_swapped_leads_and_asked_about() -> None:
    typed = read_typed("-0.42", 12.0)
    assert typed.value == pytest.approx(0.42)
    assert "swapped" in typed.question
    assert "0.42 V" in typed.question


@pytest.mark.parametrize(("text", "volts"), [("430", 0.43), ("-430", 0.43), ("12600", 12.6)])
def test_a_bare_number_far_too_large_is_taken_for_millivolts_once_confirmed(text: str, volts: float) -> None:
    typed = read_typed(text, 12.0)
    assert typed.value == pytest.approx(volts)
    assert "mV" in typed.question


def test_the_same_number_is_volts_on_a_24_v_system() -> None:
    assert read_typed("27.6", 24.0) == Typed(27.6)
    assert read_typed("50", 24.0).question == ""
    assert read_typed("50", 12.0).question != ""


@pytest.mark.parametrize(
    ("text", "clamp", "says"),
    [
        ("", False, "0.35"),
        ("", True, "165"),
        ("abc", False, "no reading"),
        ("1.2.3", False, "not a value"),
        ("0.5 A", False, "unit"),
        ("0.5 V", True, "unit"),
        ("430 V", False, "not possible"),
        ("99999999", False, "not possible"),
        ("9000", True, "more than any starter"),
        ("open", True, "amps"),
        ("nan", False, "no reading"),
        ("1e999", False, "too large"),
        ("[bold]1[/]", False, "not a value"),
    ],
)
def test_what_can_not_be_a_reading_is_refused_with_what_to_type(text: str, clamp: bool, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        read_typed(text, 12.0, clamp=clamp)


@pytest.mark.parametrize(
    "text", ["0.9-1.3", "0.9 - 1.3", "1.3-0.9", "0.9..1.3", "0.9 to 1.3", "0.9to1.3 V", "900-1300 mV", "0,9 V-1,3 V"]
)
def test_a_range_is_read_however_it_is_written(text: str) -> None:
    typed = read_typed(text, 12.0)
    assert (typed.minimum, typed.maximum) == (pytest.approx(0.9), pytest.approx(1.3))
    assert not typed.question


def test_a_dash_before_a_figure_is_its_sign_and_in_an_exponent_no_range() -> None:
    both = read_typed("-0.9 -1.3", 12.0)
    assert (both.minimum, both.maximum) == (pytest.approx(0.9), pytest.approx(1.3))
    assert "swapped" in both.question
    assert read_typed("9e-1", 12.0) == Typed(0.9)


@pytest.mark.parametrize("text", ["0.9~1.3", "0.9 & 1.3", "0.9-1.3-1.5"])
def test_two_values_that_are_no_range_are_refused_with_its_form(text: str) -> None:
    with pytest.raises(ValueError, match=r"0\.9-1\.3, 0\.9\.\.1\.3 or 0\.9 to 1\.3"):
        read_typed(text, 12.0)


def test_a_clamp_reads_amps_and_may_be_the_other_way_round() -> None:
    assert read_typed("165", 12.0, clamp=True) == Typed(165.0)
    turned = read_typed("-165 A", 12.0, clamp=True)
    assert turned.value == pytest.approx(165.0)
    assert "other way" in turned.question
