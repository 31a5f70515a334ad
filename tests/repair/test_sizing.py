"""Cable sizes against resistance tables and the adiabatic equation worked by hand."""

import math

import pytest

from tests.vehicles import desk
from wizard.circuit.circuit import Circuit
from wizard.circuit.conductors import Conductor, flexible_max_ohm, solid_ohm
from wizard.circuit.map import Changes, Kind, PartChange
from wizard.errors import DropwalkError
from wizard.quantities import Size
from wizard.repair.sizing import (
    GAUGES,
    METRIC,
    Duty,
    candidate,
    heated_c,
    laid_beside,
    replacement,
    smallest,
)

COPPER, TINNED, ALUMINIUM = Conductor.COPPER, Conductor.TINNED_COPPER, Conductor.ALUMINIUM


@pytest.mark.parametrize(
    ("conductor", "start_c", "end_c", "k"),
    # IEC 60364-5-54, tables of k for protective conductors, from memory: PVC 70 to 160 C, XLPE 90 to 250 C, and
    # bare 30 to 160 C.
    [(COPPER, 70, 160, 115), (COPPER, 90, 250, 143), (COPPER, 30, 160, 143), (ALUMINIUM, 70, 160, 76),
     (ALUMINIUM, 90, 250, 94), (ALUMINIUM, 30, 160, 95)],
)  # fmt: skip
def test_the_published_constant_heats_from_start_to_end(conductor, start_c, end_c, k):
    # k is the current that heats 1 mm2 so far in one second; it is published to three figures.
    less, more = (heated_c(conductor, 1.0, k * share, 1.0, start_c) for share in (0.993, 1.007))
    assert less < end_c < more


@pytest.mark.parametrize(("conductor", "big_k", "beta"), [(COPPER, 226.0, 234.5), (ALUMINIUM, 148.0, 228.0)])
def test_heating_by_the_adiabatic_equation_of_iec_60949(conductor, big_k, beta):
    # I^2 t = K^2 S^2 ln((end + B) / (start + B)), K and B of IEC 60949 from memory. 250 A for 30 s in 25 mm2.
    end_c = (40 + beta) * math.exp(250**2 * 30 / (big_k * 25) ** 2) - beta
    assert heated_c(conductor, 25.0, 250.0, 30.0, 40.0) == pytest.approx(end_c, abs=0.1)


def test_heating_worked_by_hand():
    # Copper, 10 A/mm2 for 30 s from 20 C: little rise, so J^2 rho t / Qc = 100 * 17.241e-6 * 30 / 3.45e-3 = 15 K, and
    # the resistance that grows with it makes it a little more.
    assert 15.0 < heated_c(COPPER, 25.0, 250.0, 30.0, 20.0) - 20.0 < 15.6
    assert heated_c(COPPER, 25.0, 0.0, 30.0, 20.0) == pytest.approx(20.0)


@pytest.mark.parametrize(
    ("size", "conductor", "ohm_per_km"),
    # IEC 60228, class 5, highest resistance at 20 C.
    [("25 mm2", COPPER, 0.780), ("50 mm2", COPPER, 0.386), ("50 mm2", TINNED, 0.393), ("120 mm2", COPPER, 0.161)],
)
def test_the_drop_of_a_candidate_is_the_tables_at_the_temperature_after_the_crank(size, conductor, ohm_per_km):
    tried = candidate(Size.parse(size), conductor, Duty(2.0, 200.0, 0.5, around_c=20.0, seconds=1e-6))
    assert tried.drop_v == pytest.approx(200.0 * 2.0 * ohm_per_km / 1000, rel=1e-3)
    hot = candidate(Size.parse(size), conductor, Duty(2.0, 200.0, 0.5, around_c=60.0, seconds=1e-6))
    # IEC 60228's correction table, which rounds the coefficient to 0.004 per kelvin: 60 C to 20 C is 0.862.
    assert tried.drop_v / hot.drop_v == pytest.approx(0.862, abs=3e-3)


@pytest.mark.parametrize(("gauge", "ohm_per_1000ft"), [("10", 0.9989), ("14", 2.525), ("4", 0.2485), ("2/0", 0.07793)])
def test_a_gauge_has_the_resistance_of_the_wire_table(gauge, ohm_per_1000ft):
    # NBS Handbook 100, Copper Wire Tables; 4 and 2/0 AWG from memory.
    assert solid_ohm(304.8, Size.parse(f"{gauge} AWG"), COPPER, 20.0) == pytest.approx(ohm_per_1000ft, rel=2e-3)


@pytest.mark.parametrize("series", [METRIC, GAUGES])
@pytest.mark.parametrize("conductor", [COPPER, TINNED, ALUMINIUM])
@pytest.mark.parametrize(
    "duty", [Duty(4.2, 250, 0.46, 520, 40), Duty(0.9, 250, 0.1, 520, 60), Duty(0.2, 400, 1.0, 900)]
)
def test_the_smallest_that_fits_is_the_smallest(series, conductor, duty):
    fits, below = smallest(conductor, duty, series)
    assert fits is not None
    assert fits.drop_v <= duty.allowed_v
    assert fits.end_c <= 70
    assert below is not None
    assert below.drop_v > duty.allowed_v or below.end_c > 70
    assert series.index(fits.size) == series.index(below.size) + 1


def test_a_short_cable_is_chosen_by_its_heating_and_a_long_one_by_its_drop():
    # 0.3 m with a whole volt to lose: 250 A for 30 s from 40 C to 70 C takes 250 sqrt(30) / k mm2;
    # k = 226 sqrt(ln(304.5 / 274.5)) = 72.8 by IEC 60949's K and B, from memory, so 18.8 mm2.
    hot = Duty(0.3, 250.0, 1.0)
    assert heated_c(COPPER, 18.8, 250.0, 30.0, 40.0) == pytest.approx(70.0, abs=0.2)
    assert smallest(COPPER, hot, METRIC)[0].size.label == "25 mm2"
    # 4 m with 0.2 V to lose at 250 A: 0.2 mohm/m is between 95 and 70 mm2 cold, and wants 120 mm2 at 40 C and more.
    assert smallest(COPPER, Duty(4.0, 250.0, 0.2), METRIC)[0].size.label == "120 mm2"


def test_every_shipped_cable_has_a_replacement_at_least_as_large(any_desk):
    for name, passive in any_desk.circuit.parts.items():
        if passive.part.kind not in (Kind.CABLE, Kind.STRAP):
            continue
        found = replacement(any_desk.circuit, any_desk.limits, name)
        assert {choice.conductor for choice in found.choices} == {COPPER, TINNED, ALUMINIUM}
        for choice in found.choices:
            assert choice.fits
            assert choice.size.area_mm2 >= 0.97 * passive.part.size.area_mm2
        assert any("copper-clad" in line for line in found.advice)


def test_a_vehicle_with_a_thin_aluminium_cable_is_shown_what_it_loses():
    remote = desk("remote-battery")
    thin = PartChange(length_m=4.2, size=Size.parse("25 mm2"), conductor=Conductor.COPPER_CLAD_ALUMINIUM)
    circuit = Circuit.of(remote.circuit.map, Changes(parts={"long-cable": thin}), 15.0)
    found = replacement(circuit, remote.limits, "long-cable", lost_v=1.05)
    assert found.standard.size.label == "50 mm2"
    assert found.fitted.size.label == "25 mm2"
    assert not found.fitted.fits
    # 0.02676 against 1/58 ohm mm2/m, ASTM B566 from memory: half as much again; and half the area.
    cold = [flexible_max_ohm(4.2, c.size, c.conductor, 20.0) for c in (found.standard, found.fitted)]
    assert cold[1] / cold[0] == pytest.approx(2 * 1.55, rel=0.02)
    assert found.lost_v == 1.05
    assert all(choice.drop_v < found.fitted.drop_v for choice in found.choices)


@pytest.mark.parametrize(
    ("part", "allowed_v", "told"),
    [("isolator", None, "no cable"), ("no-such", None, "no cable"), ("long-cable", 0.0, "more than 0 V")],
)
def test_what_has_no_size_is_refused_in_words(remote_desk, part, allowed_v, told):
    with pytest.raises(DropwalkError, match=told):
        replacement(remote_desk.circuit, remote_desk.limits, part, allowed_v=allowed_v)


def test_a_drop_that_no_cable_keeps_is_said(remote_desk):
    found = replacement(remote_desk.circuit, remote_desk.limits, "long-cable", allowed_v=0.01)
    assert found.choices == ()
    assert "No standard size fits" in found.advice[-1]
    assert len(found.too_small) == 6


def test_a_fuse_in_the_run_is_sized_for_the_crank(remote_desk):
    chart = remote_desk.circuit.map
    fused = chart.parts["isolator"].model_copy(update={"kind": Kind.FUSE})
    circuit = Circuit.of(chart.model_copy(update={"parts": {**chart.parts, "isolator": fused}}))
    assert replacement(circuit, remote_desk.limits, "long-cable").fuse_a == 250
    assert replacement(circuit, remote_desk.limits, "ground-cable").fuse_a is None
    assert replacement(remote_desk.circuit, remote_desk.limits, "long-cable").fuse_a is None


def test_a_control_wire_is_sized_for_the_coil_and_not_for_the_motor(remote_desk):
    found = replacement(remote_desk.circuit, remote_desk.limits, "control-feed")
    # The side's 0.5 V (US Army TM 5-3820-256-24-4) less 0.1 V for the switch; 3.5 m at the map's 11 A.
    assert (found.duty.current_a, found.duty.stall_a) == (11.0, 40.0)
    assert found.duty.allowed_v == pytest.approx(0.4)
    # No smaller than what the map has; 25 m of it would lose more: 0.01724 x 25 / 0.4 x 11 is 11.9 mm2.
    assert found.choices[0].size.label == "10 mm2"
    long = Circuit.of(remote_desk.circuit.map, Changes(parts={"control-feed": PartChange(length_m=25.0)}))
    assert replacement(long, remote_desk.limits, "control-feed").choices[0].size.label == "16 mm2"


@pytest.mark.parametrize(
    ("circuit", "part", "share"),
    # From the block to the clamp lead 0.721 and, by the body, 2.089 mohm: two resistances in parallel take 0.743 and
    # 0.257 of the whole, here the motor's 150 A and the coil's 10.4 A.
    [
        ("front-battery", "body-strap", 0.257 * 160.4 / 150),
        ("front-battery", "ground-cable", 0.743 * 160.4 / 150),
        ("front-battery", "positive-cable", 1.0),
    ],
)
def test_a_branch_beside_another_carries_its_share(circuit, part, share):
    at = desk(circuit)
    duty = replacement(at.circuit, at.limits, part).duty
    assert duty.current_a / at.circuit.demand_a[2] == pytest.approx(share, abs=0.005)
    assert duty.stall_a / at.circuit.map.starter.locked_rotor_a == pytest.approx(share, abs=0.005)


def test_what_a_size_reads_today_is_by_the_table_at_the_currents_and_air_of_the_vehicle(remote_desk):
    found = replacement(remote_desk.circuit, remote_desk.limits, "long-cable", motor_a=165.0)
    assert replacement(remote_desk.circuit, remote_desk.limits, "long-cable").choices[0].today_v is None
    # The solenoid's pulling winding carries an amp past it.
    assert found.duty.current_a == pytest.approx(250.0, abs=2.0)
    for choice in found.choices:
        # Between solid metal (IEC 60028) and the class 5 maximum (IEC 60228) lie a few per cent.
        if choice.conductor is COPPER and choice.size.label == "70 mm2":
            assert 165 * 4.2 / 58 / 70 < choice.today_v < 165 * 4.2 * 0.272e-3
        assert choice.today_v < choice.drop_v


def test_a_cable_laid_beside_the_body_is_sized_by_the_length_it_comes_to(remote_desk):
    laid = laid_beside(remote_desk.circuit, remote_desk.limits, "body", (0.5, 1.5, 4.0), motor_a=170.0)
    # US Army TM 5-3820-256-24-4: 0.1 V under 3 ft, 0.2 V from 3 to 6 ft; longer ones in proportion.
    assert [one.duty.allowed_v for one in laid] == pytest.approx([0.1, 0.2, 0.2 * 4.0 / 1.8288], rel=1e-3)
    areas = [one.metric.size.area_mm2 for one in laid]
    assert areas == sorted(areas)
    for one in laid:
        assert one.duty.current_a >= remote_desk.circuit.demand_a[2] * 0.9
        assert one.metric.fits
        assert one.gauge.fits
        assert one.metric == smallest(COPPER, one.duty, METRIC)[0]


def test_rings_are_named_where_the_map_tells_the_studs(remote_desk):
    """Clearance holes of the fine series, ISO 273, from memory: 8.4 mm for M8, 10.5 mm for M10."""
    circuit = remote_desk.circuit
    long_cable = replacement(circuit, remote_desk.limits, "long-cable")
    assert long_cable.ends == (
        "At isolator load lug: a ring for M8, hole 8.4 mm.",
        "At bulkhead feed lug: a ring for M10, hole 10.5 mm.",
    )
    rear = replacement(circuit, remote_desk.limits, "rear-cable")
    assert rear.ends[0] == "At positive clamp: a clamp for the post."
    control = replacement(circuit, remote_desk.limits, "control-feed")
    assert control.ends == ()
    assert any("M8: 8.4 mm" in line for line in control.advice)
