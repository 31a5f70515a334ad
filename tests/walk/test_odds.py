"""Odds in words and plain characters."""

import pytest

from wizard.walk.odds import odds_bar, odds_word


@pytest.mark.parametrize(
    ("probability", "word", "bar"),
    [
        (0.0, "unlikely", ".........."),
        (0.006, "unlikely", "#........."),
        (0.0449, "unlikely", "#........."),
        # Printed as 0.05, as the next one is.
        (0.0451, "less likely", "#........."),
        (0.05, "less likely", "#........."),
        (0.2, "possible", "##........"),
        (0.5, "likely", "#####....."),
        (0.94, "very likely", "#########."),
        (1.0, "almost sure", "##########"),
    ],
)
def test_odds(probability: float, word: str, bar: str) -> None:
    assert (odds_word(probability), odds_bar(probability)) == (word, bar)


def test_a_likelier_thing_never_has_a_shorter_bar() -> None:
    lengths = [odds_bar(percent / 100).count("#") for percent in range(101)]
    assert lengths == sorted(lengths)
