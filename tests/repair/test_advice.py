"""What is said about how to do a repair, for every repair of every shipped map."""

import pytest

from tests.vehicles import desk
from wizard.circuit.circuit import Circuit
from wizard.circuit.map import Kind, RepairKind
from wizard.diagnosis.faults import NO_REPAIR
from wizard.errors import BadFile
from wizard.files import shelf
from wizard.files.plainwords import checked
from wizard.files.yamltext import parse_document
from wizard.repair.advice import RepairTable, advise

EVERY = [
    (name, repair) for name in shelf.circuit_names() for repair in desk(name).circuit.repairs if repair != NO_REPAIR
]


def place(lines, *words):
    """Number of the first line that has all these words."""
    return next(n for n, line in enumerate(lines) if all(word in line.lower() for word in words))


@pytest.mark.parametrize(("circuit", "repair"), EVERY)
def test_a_repair_takes_the_ground_lead_off_first_and_puts_it_on_last(circuit, repair):
    at = desk(circuit).circuit
    advice = advise(at, shelf.repairs(), repair)
    kind = at.repairs[repair].kind
    if kind in (RepairKind.CHARGE, RepairKind.HAND_OVER):
        assert not any("ground lead on" in line.lower() for line in advice.order)
        return
    memory, off = place(advice.order, "memory"), place(advice.order, "ground lead off")
    on = place(advice.order, "ground lead on")
    assert memory < off < on
    work = advice.order[off + 1 : on]
    assert len(work) >= 3
    assert any("maker" in line for line in work)
    assert advice.tools
    assert advice.look
    assert advice.minutes == at.repairs[repair].minutes


@pytest.mark.parametrize(("circuit", "repair"), [pair for pair in EVERY if pair[1].startswith("clean-")])
def test_cleaning_bares_both_faces_before_tightening_and_says_when_it_will_not_do(circuit, repair):
    advice = advise(desk(circuit).circuit, shelf.repairs(), repair)
    assert place(advice.order, "both mating surfaces") < place(advice.order, "tighten", "maker's figure")
    assert place(advice.order, "tighten", "maker's figure") < place(advice.order, "against corrosion")
    assert any("will not do" in line for line in advice.not_enough)
    assert advice.replaces == ()


# What only someone who works on such a part does, uses and sees, and what belongs to other parts.
WORK = [
    ("replace-long-cable", "way", "grommets", "strands", "shims"),
    ("replace-engine-strap", "slack for the engine to rock", "scraper", "braid", "grommet"),
    ("replace-solenoid", "shims", "labels", "disc", "grommet"),
    ("replace-isolator", "off means off", "labels", "discoloured", "grommet"),
    ("replace-start-switch", "park or neutral", "terminal tool", "terminals", "grommet"),
    ("clean-positive-clamp", "puller", "post and clamp brush", "post", "flange"),
    ("clean-starter-mounting", "dowel", "support", "dowels", "baking soda"),
    ("clean-b-stud-joint", "second nut still", "torque wrench", "lug", "baking soda"),
    ("run-a-ground-cable", "scrape paint", "crimping tool", "rust", "dowel"),
    ("repair-control-feed", "crimp", "heat gun", "push-on", "lifting"),
    ("replace-battery", "vent hose on", "lifting strap", "tray", "grommet"),
    ("charge-battery", "charger", "load tester", "date", "torque"),
    ("replace-starter", "without a grind", "support", "ring gear", "grommet"),
    ("free-the-engine", "belts", "crankshaft", "accessories", "torque"),
]


@pytest.mark.parametrize(("repair", "step", "tool", "seen", "foreign"), WORK)
def test_the_work_is_that_of_the_part(remote_desk, repair, step, tool, seen, foreign):
    advice = advise(remote_desk.circuit, shelf.repairs(), repair)
    told = [" ".join(lines).lower() for lines in (advice.order, advice.tools, advice.look)]
    for wanted, lines in zip((step, tool, seen), told, strict=True):
        assert wanted in lines
    assert foreign not in " ".join(told)
    assert any("will not do" in line or "replaced" in line or "not clear" in line for line in advice.not_enough)


@pytest.mark.parametrize(
    ("repair", "tried"),
    [
        ("replace-solenoid", "lets go"),
        ("replace-starter", "lets go"),
        ("replace-isolator", "off means off"),
        ("replace-start-switch", "park or neutral"),
        ("replace-battery", "tell the vehicle"),
    ],
)
def test_what_needs_the_battery_is_tried_once_it_is_on_again(remote_desk, repair, tried):
    order = advise(remote_desk.circuit, shelf.repairs(), repair).order
    assert place(order, "ground lead on") < place(order, tried) < place(order, "measure the same spans")


def test_a_fuse_is_worked_on_as_a_fuse_whatever_the_map_calls_its_repair(remote_desk):
    chart = remote_desk.circuit.map
    fused = chart.parts["isolator"].model_copy(update={"kind": Kind.FUSE})
    circuit = Circuit.of(chart.model_copy(update={"parts": {**chart.parts, "isolator": fused}}))
    advice = advise(circuit, shelf.repairs(), "replace-isolator")
    assert place(advice.order, "rating", "maker") < place(advice.order, "bright metal")
    assert any("blows" in line for line in advice.not_enough)


@pytest.mark.parametrize("repair", ["replace-long-cable", "repair-control-feed"])
def test_a_cable_that_was_re_ended_is_replaced(remote_desk, repair):
    advice = advise(remote_desk.circuit, shelf.repairs(), repair)
    assert any("re-ended" in line and "replaced, not repaired" in line for line in advice.not_enough)
    assert len(set(advice.not_enough)) == len(advice.not_enough)


def test_a_repair_names_the_cables_whose_size_is_to_be_chosen(remote_desk):
    table = shelf.repairs()
    assert advise(remote_desk.circuit, table, "replace-long-cable").replaces == ("long-cable",)
    assert advise(remote_desk.circuit, table, "replace-isolator").replaces == ()
    beside = advise(remote_desk.circuit, table, "run-a-ground-cable")
    assert (beside.replaces, beside.lays) == ((), ("body",))


def test_own_advice_is_of_repairs_that_there_are_and_comes_with_its_kinds(front_desk):
    table = shelf.repairs()
    assert set(table.own) <= set(front_desk.circuit.repairs)
    starter = advise(front_desk.circuit, table, "replace-starter")
    assert place(starter.order, "before its last bolt") < place(starter.order, "mounting face")
    assert any("ring gear" in line for line in starter.look)


def test_nothing_is_to_be_done_where_nothing_was_shown(front_desk):
    assert advise(front_desk.circuit, shelf.repairs(), NO_REPAIR).order == ()


def test_a_table_without_a_kind_is_refused_with_its_place():
    text = "repairs: mine\nbefore: []\non_again: []\nafter: []\nkinds:\n"
    text += "  clean: {order: [do it]}\n  tighten: {tools: [wrench]}\n"
    with pytest.raises(BadFile) as refused:
        checked(parse_document(text, "mine.yaml"), RepairTable)
    told = str(refused.value)
    assert "mine.yaml:5:1: kinds: there is no row 'replace'" in told
    assert "mine.yaml:7:3: kinds.tighten.order: say at least one thing to do" in told
