"""The belief against exact variable elimination (pgmpy) on three small circuits, given the same tables."""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.discrete import Discrete, small_map, small_model
from wizard.circuit.load import Condition, Heard, operate
from wizard.circuit.network import Observable
from wizard.diagnosis.belief import Belief
from wizard.diagnosis.evidence import Evidence, Measurement
from wizard.diagnosis.priors import FAMILIES
from wizard.files.shelf import priors

pytest.importorskip("pgmpy", reason="pgmpy is not installed: pip install 'dropwalk[proof]'")

# Each with the families of faults that can occur in it besides the parts' own, and whether pairs can.
SMALL = {
    "two joints and a cable": (small_map(["joint", "cable", "joint"], ["cable"]), FAMILIES, False),
    "grounds in parallel": (small_map(["cable", "contacts"], ["joint", "cable"], side_straps=1), FAMILIES, False),
    "pairs of faults": (small_map(["cable"], ["cable"]), ("battery-worn", "nothing"), True),
}
# Spans that every small map has, and what each vehicle's fault is.
POSTS, POSITIVE = Observable("cranking", "plus", "minus"), Observable("cranking", "plus", "feed")
GROUND, MOTOR = Observable("cranking", "case", "minus"), Observable("cranking", "motor", "case")
AT_REST, TRIGGER = Observable("resting", "plus", "minus"), Observable("cranking", "plus", "trigger")
SETS = {
    "one": [POSITIVE],
    "three, two in one crank": [AT_REST, POSITIVE, GROUND],
    "five, one of them wrong": [POSTS, POSITIVE, GROUND, MOTOR, TRIGGER],
}


@pytest.mark.parametrize("small", SMALL)
@pytest.mark.parametrize("readings", SETS)
def test_the_posterior_is_that_of_variable_elimination(small: str, readings: str) -> None:
    chart, families, pairs = SMALL[small]
    model = small_model(chart, priors(), families, pairs=pairs)
    first = next(iter(chart.parts))
    condition = Condition({first: 0.003}, demand_a=170.0)
    values, _, _ = operate(model.circuit, condition, SETS[readings])
    if "wrong" in readings:
        values[2] = 6.0
    cranks = [1 if "one crank" in readings and what.state == "cranking" else None for what in SETS[readings]]
    measurements = tuple(
        Measurement(number, what, round(float(value), 3), crank)
        for number, (what, value, crank) in enumerate(zip(SETS[readings], values, cranks, strict=True), 1)
    )
    heard = {"cranks-slowly": 0.7, "cranks-normally": 0.2, "otherwise": 0.05}
    evidence = Evidence(measurements, Heard.CRANKS_SLOWLY, tables=(heard, {"cable": 0.6, "otherwise": 0.3}))
    discrete, belief = Discrete(model, evidence), Belief(model, evidence)
    exact = discrete.fault_odds()
    assert np.abs(discrete.belief_odds(belief) - exact).max() < 1e-6
    site = np.zeros(len(model.sites) + 1)
    for end in (0, 1):
        np.add.at(site, model.cells.site[discrete.cell[:, end]], exact)
    assert np.abs(belief.site_probability - site[:-1]).max() < 1e-6
    if "wrong" in readings:
        assert belief.doubt[3] > 0.5
