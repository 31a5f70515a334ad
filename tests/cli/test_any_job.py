"""Whatever sound readings a job has, likely or not, it is answered, and the answer is JSON."""

import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wizard.files import shelf
from wizard.files.places import shipped

MAPS = {name: shelf.circuit_map(name, shipped("flows")) for name in shelf.circuit_names()}


@st.composite
def jobs(draw):
    """A job as its file's data, on one of the shipped maps."""
    name = draw(st.sampled_from(list(MAPS)))
    points, parts = st.sampled_from(list(MAPS[name].points)), st.sampled_from(list(MAPS[name].parts))
    volts = st.one_of(
        st.floats(-30, 30), st.floats(0, 1), st.just("open"), st.sampled_from(["0.7", "700 mV", "1e-300"])
    )
    state = st.sampled_from(["resting", "cranking"])
    span = st.tuples(points, points).filter(lambda ends: ends[0] != ends[1])
    posts = {MAPS[name].battery.positive, MAPS[name].battery.negative}
    # A battery is never open.
    reading = st.builds(
        lambda state, ends, value: {"state": state, "red": ends[0], "black": ends[1], "value": value},
        state,
        span,
        volts,
    ).filter(lambda entry: entry["value"] != "open" or {entry["red"], entry["black"]} != posts)
    clamped = st.fixed_dictionaries({"state": state, "clamp": parts, "value": st.floats(-3000, 3000)})
    repaired = st.fixed_dictionaries({"repaired": st.sampled_from(list(MAPS[name].repairs))})
    size = st.sampled_from(["4 AWG", "2/0 AWG", "0.05 mm2", "1000 mm2"])
    length = st.sampled_from(["1 mm", "3 ft", "500 m"])
    cables = [part for part, value in MAPS[name].parts.items() if value.length_m]
    change = st.fixed_dictionaries({"length": length, "size": size})
    return {
        "job": "any",
        "circuit": name,
        "air": draw(st.sampled_from(["-60 C", "20 C", "150 F"])),
        "symptom": draw(st.sampled_from(["cranks-normally", "cranks-slowly", "one-click", "rapid-clicks", "no-click"])),
        "intermittent": draw(st.booleans()),
        "changes": {"parts": draw(st.dictionaries(st.sampled_from(cables), change, max_size=2))},
        "out-of-reach": draw(st.lists(points, max_size=4)),
        "readings": draw(st.lists(st.one_of(reading, clamped, repaired), max_size=6)),
    }


@pytest.mark.filterwarnings("error")
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(job=jobs(), plan=st.sampled_from(["walk", "fastest"]))
def test_any_job_is_answered(run, tmp_path, job, plan):
    (tmp_path / "any.yaml").write_text(json.dumps(job))
    done = run("diagnose", "any.yaml", "--json", "--plan", plan)
    assert done.exit_code == 0, done.stderr
    found = json.loads(done.stdout, parse_constant=pytest.fail)
    assert len(found["readings"]) == sum("repaired" not in entry for entry in job["readings"])
    assert sum(repair["probability"] for repair in found["repairs"]) == pytest.approx(1.0, abs=1e-6)
    assert run("diagnose", "any.yaml", "--plan", plan).exit_code == 0
