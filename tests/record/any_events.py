"""Any event that can be recorded, for property tests."""

from hypothesis import strategies as st

from wizard.circuit.load import Heard
from wizard.circuit.map import Changes, PartChange
from wizard.quantities import Size
from wizard.walk import events
from wizard.walk.events import Complaint, History

IDS = st.sampled_from(["chassis", "engine-block", "any-click", "clean-block-joint", "positive-cable", "a", "not-sure"])
TEXTS = st.text(
    st.characters(exclude_categories=["Cs", "Cc"], exclude_characters="\ufeff").filter(
        lambda c: not 0x200B <= ord(c) < 0x2010 and not 0x2028 <= ord(c) < 0x202F and not 0x2066 <= ord(c) < 0x206A
    ),
    max_size=20,
)
FINITE = st.floats(allow_nan=False, allow_infinity=False)
ABOVE_ZERO = st.floats(0.01, 500)

CHANGES = st.builds(
    Changes,
    parts=st.dictionaries(
        IDS,
        st.builds(
            PartChange,
            length_m=st.none() | ABOVE_ZERO,
            size=st.none() | st.sampled_from([Size.parse("2/0 AWG"), Size.parse("25 mm2")]),
            resistance_mohm=st.none() | ABOVE_ZERO,
        ),
        max_size=2,
    ),
    cca_a=st.none() | ABOVE_ZERO,
)
HISTORIES = st.builds(
    History,
    recently_replaced=st.lists(IDS, max_size=2),
    helped_by=st.lists(IDS, max_size=2),
    woke_up_when_touched=st.none() | IDS,
)
COMPLAINTS = st.builds(
    Complaint,
    circuit=TEXTS,
    changes=CHANGES,
    symptom=st.none() | st.sampled_from(list(Heard)),
    intermittent=st.booleans(),
    air=st.floats(-60, 70),
    history=HISTORIES,
    clamp_meter=st.booleans(),
)
STARTED = st.builds(events.Started, title=TEXTS, complaint=COMPLAINTS, flow=IDS, scenario=st.none() | TEXTS)
READINGS = st.builds(
    events.ReadingTaken,
    state=st.sampled_from(events.STATES),
    red=IDS,
    black=IDS,
    value=FINITE | st.just("open"),
    crank=st.none() | st.integers(1, 99),
    note=TEXTS,
    instead_of=st.none() | st.integers(-5, 30),
)
CLAMPED = st.builds(events.ReadingTaken, state=st.just("cranking"), clamp=IDS, value=FINITE)
LATER = st.one_of(
    READINGS,
    CLAMPED,
    st.builds(events.Described, complaint=COMPLAINTS),
    st.builds(events.Renamed, title=TEXTS),
    st.builds(events.CautionsRead, cautions=st.lists(IDS, max_size=3)),
    st.builds(events.Answered, step=IDS, choice=IDS),
    st.builds(events.ReadingStruck, reading=st.integers(-5, 30), why=TEXTS),
    st.builds(events.Repaired, repair=IDS, fitted=CHANGES.map(lambda changes: changes.parts), day=st.dates()),
    st.builds(events.RepairStruck),
    st.builds(
        events.StartSeen,
        good=st.booleans(),
        engine=st.sampled_from(["cold", "hot"]),
        times=st.integers(1, 10_000),
        day=st.none() | st.dates(),
        before_repair=st.booleans(),
    ),
    st.builds(events.StartStruck, entry=st.integers(-5, 30)),
    st.builds(events.FollowUp, open=st.booleans(), why=TEXTS),
    st.builds(events.MinutesLogged, minutes=ABOVE_ZERO, step=st.none() | IDS, work=TEXTS),
    st.builds(events.PartPriced, what=TEXTS, price=st.floats(0, 1e7), count=ABOVE_ZERO),
    st.builds(events.LabourPriced, per_hour=st.none() | st.floats(0, 1e6)),
    st.builds(events.CostStruck, entry=st.integers(-5, 30)),
    st.builds(events.Jumped, step=IDS),
    st.builds(events.Cranked, seconds=st.floats(0, 3600)),
    st.builds(events.JumpStruck),
    st.builds(events.FailsNow, fails=st.booleans()),
    st.builds(events.TakenBack, event=st.integers(2, 30)),
    st.builds(events.OutOfReach, point=IDS, reachable=st.booleans(), taken_back=st.booleans()),
    st.builds(events.Noted, text=TEXTS, reading=st.none() | st.integers(-5, 30)),
)
ANY = STARTED | LATER
