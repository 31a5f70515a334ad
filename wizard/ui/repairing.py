"""The finding and what follows it: how it is repaired, its proof, starts counted, labour and parts, the report."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from textual.binding import Binding, BindingType
from textual.worker import get_current_worker

from wizard.diagnosis.faults import NO_REPAIR
from wizard.errors import DropwalkError
from wizard.quantities import capitalised
from wizard.ui.confirm import Confirm
from wizard.ui.finding_page import FindingPage
from wizard.ui.pick import Item, Pick
from wizard.ui.taking import Taking
from wizard.ui.visit import Page
from wizard.walk.events import CautionsRead, Repaired
from wizard.walk.retest import repair_due
from wizard.walk.undersized import undersized

if TYPE_CHECKING:
    from wizard.record.report_lines import RepairLine
    from wizard.ui.repair_page import Fitted
    from wizard.walk.assessment import Assessment


class Repairing(Taking):
    """What needs a page of its own is imported when it is first opened."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f", "finding", show=False),
        Binding("z", "repair", show=False),
        Binding("i", "starts", show=False),
        Binding("y", "costs", show=False),
        Binding("q", "report", show=False),
    ]

    # The repairs on record when the page was worked out from which another is recorded.
    _called_after: tuple[str, ...] = ()

    def action_finding(self) -> None:
        self.then(self._open_finding)

    def _open_finding(self) -> None:
        if self.assessment is None or not self.is_current:
            return
        assessment = self.assessment
        repair = repair_due(assessment, self.session.state)
        can_repair = repair is not None and assessment.next.kind == "repair"
        thin = next(iter(self._too_small()), None)
        to_open = "how it is done" if repair else "a larger cable" if thin else ""

        def answered(done: bool | None) -> None:
            if done and repair is not None:
                self._confirm_read(assessment)
                self._ask_done(repair, None)
            elif done is False and (shown := repair or thin) is not None:
                self._open_repair(shown)

        self._called_after = self.assessed_repairs
        page = FindingPage(self.session.desk, assessment, can_repair=can_repair, to_open=to_open)
        self.app.push_screen(page, answered)

    def _confirm_read(self, assessment: Assessment) -> None:
        """The cautions at the end of the finding's page were read down to the last before Enter was taken."""
        shown = assessment.finding.cautions if assessment.finding else []
        if unread := [name for name in shown if name not in self.session.state.cautions_read]:
            self.record(CautionsRead(cautions=unread))

    def action_repair(self) -> None:
        """The repair that is called for, the proof of those that were done, or any of the map's."""
        self.then(self._open_due)

    def _open_due(self) -> None:
        if self.assessment is None or not self.is_current:
            return
        if (repair := repair_due(self.assessment, self.session.state)) is not None:
            self._open_repair(repair)
        elif self.session.state.repairs:
            self._open_proof()
        else:
            self._pick_repair()

    def _pick_repair(self) -> None:
        known, thin = self.session.desk.circuit.repairs, self._too_small()
        likely = [odds.repair for odds in self.assessment.repairs] if self.assessment else []
        names = [name for name in dict.fromkeys([*thin, *likely, *known]) if name in known and name != NO_REPAIR]
        remark = "sound, but too small for its length"
        items = [Item(name, capitalised(known[name].label), remark if name in thin else "") for name in names]
        self.app.push_screen(Pick("Which repair?", items), lambda ids: self._open_repair(ids[0]) if ids else None)

    def _too_small(self) -> list[str]:
        """Repairs that put in a larger cable where a sound one is too small for its length."""
        circuit, found = self.session.desk.circuit, self.assessment
        small = undersized(circuit, found.readings, found.spans) if found else []
        return list(dict.fromkeys(circuit.parts[cable.part].part.repair for cable in small))

    def _open_repair(self, repair: str) -> None:
        from wizard.ui.repair_page import RepairPage

        if self.assessment is None:
            return

        def predict(fitted: Fitted | None) -> None:
            self._beside(partial(self._foresee, repair, fitted), page.show_foreseen)

        self._called_after = self.assessed_repairs
        page = RepairPage(self.session.desk, self.assessment, repair, predict, inch=self.inch)
        self.app.push_screen(page, lambda done: self._ask_done(repair, page.fitted) if done else None)
        predict(None)

    def _foresee(self, repair: str, fitted: Fitted | None) -> Any:
        from wizard.walk.proof import foresee_proof

        return foresee_proof(self.session.case(), repair, fitted)

    def _ask_done(self, repair: str, fitted: Fitted | None) -> None:
        """Enter leads here from page to page, so it is asked once more before it counts."""
        label = self.session.desk.circuit.repairs[repair].label
        question = f"{capitalised(label)}. From now on, readings are of the repaired circuit."
        page = Confirm("Is the repair done?", question, "it is done", "not yet")
        self.app.push_screen(page, lambda yes: self._ask_fitted(repair, fitted) if yes else None)

    def _ask_fitted(self, repair: str, fitted: Fitted | None) -> None:
        """Whatever size goes on record is said by the user: before it is done, or when it is."""

        def done(fitted: Fitted) -> None:
            kind = self.session.desk.circuit.repairs[repair].kind
            self.with_cautions([str(kind)], partial(self._repaired, repair, fitted))

        if fitted is None:
            self._choose_size(repair, done)
        else:
            done(fitted)

    def _choose_size(self, repair: str, use: Callable[[Fitted], None]) -> None:
        from wizard.ui.repair_page import ask_fitted

        ask_fitted(self.app, self.session.desk, repair, use, inch=self.inch)

    def _repaired(self, repair: str, fitted: Fitted) -> None:
        if self.session.state.repairs != self._called_after:
            self.say("! Nothing was recorded: a repair was recorded since the page was worked out. Open it again.")
            return
        if self.record(Repaired(repair=repair, fitted=dict(fitted))):
            self.same_crank = False
            if self.bench is not None:
                self.bench.repair(repair, self.session.desk.circuit)
            self.say("Repair recorded. Now prove it: ground lead back on, last, then the same spans again.")

    def _open_proof(self) -> None:
        from wizard.ui.proof_page import ProofPage, proof_text

        page = ProofPage()
        self.app.push_screen(page, lambda other: self._pick_repair() if other else None)
        self._beside(self._proofs, lambda proofs: page.show(proof_text(proofs)))

    def _proofs(self) -> list[RepairLine]:
        from wizard.record.proof_lines import repair_lines

        return repair_lines(self.session.case())

    def action_starts(self) -> None:
        from wizard.ui.starts_page import StartsPage

        page, seq = StartsPage(self.session, self.now().astimezone().date()), self.session.seq

        def left(_: bool | None) -> None:
            # What is counted decides whether a fault that comes and goes is proved gone.
            if self.session.seq != seq:
                self.work_out()

        self.app.push_screen(page, left)
        if self.session.state.repairs:
            self._beside(self._proofs, page.show_margin)

    def action_costs(self) -> None:
        from wizard.ui.costs_page import CostsPage

        self.app.push_screen(CostsPage(self.session, self.assessment.next.step if self.assessment else None))

    def action_report(self) -> None:
        from wizard.ui.report_page import Destination, ask_destination, write_report

        now = self.now().astimezone()

        def write(to: Destination) -> None:
            self.say("Writing the report.")
            self._beside(partial(write_report, self.session, now, to), self._say_whole)

        ask_destination(self.app, self.session.state.title, now.date(), write)

    def _say_whole(self, text: str) -> None:
        """In the line where it is looked for, or on a page of its own where that would cut it off."""
        if len(text) <= self.query_one("#said").content_size.width:
            self.say(text)
        else:
            self.say("")
            self.app.push_screen(Page("Report", text))

    def _beside(self, work: Callable[[], Any], use: Callable[[Any], None]) -> None:
        """Work something out beside the screen; `use` it there unless something newer was asked for meanwhile."""

        def run() -> None:
            worker = get_current_worker()
            try:
                answer = work()
            except DropwalkError as error:
                if not worker.is_cancelled:
                    self.app.call_from_thread(self._say_whole, f"! {error}")
                return
            if not worker.is_cancelled:
                self.app.call_from_thread(use, answer)

        self.run_worker(run, thread=True, exclusive=True, group="beside")
