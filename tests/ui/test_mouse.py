"""A whole job by the mouse alone: every key on the line of keys can be clicked, and so can answers and parts."""

from __future__ import annotations

from driven import Open

from wizard.ui.cautions_page import CautionsPage
from wizard.ui.confirm import Confirm
from wizard.ui.finding_page import FindingPage
from wizard.ui.job import JobScreen
from wizard.ui.visit import Page


async def test_a_demo_by_mouse_from_home_to_a_proved_repair(bay: Open) -> None:
    async with bay(size=(120, 40)) as driven:
        await driven.click("demo vehicle")
        await driven.click("Parcel van")
        await driven.click("Esc close")
        for _ in range(80):
            screen = driven.app.screen
            if isinstance(screen, CautionsPage):
                await driven.click("Enter next page" if "next page" in driven.shown() else "Enter I have read and done")
            elif isinstance(screen, FindingPage):
                await driven.click("the repair is done")
            elif isinstance(screen, Confirm):
                await driven.click("Enter it is done")
            else:
                assert isinstance(screen, JobScreen)
                assert screen.assessment is not None
                step = screen.assessment.next
                if step.kind == "finish":
                    break
                if screen.target is not None:
                    await driven.click("meter")
                    if isinstance(driven.app.screen, JobScreen):
                        await driven.click("Enter take it")
                elif step.kind == "ask":
                    await driven.click("look")
                else:
                    await driven.click("Enter go on")
        state = driven.job.session.state
        assert state.repairs == ("clean-isolator-load-joint",)
        assert driven.job.assessment is not None
        assert driven.job.assessment.next.kind == "finish"


async def test_an_answer_is_taken_by_a_click_on_it(bay: Open) -> None:
    async with bay("parcel-van") as driven:
        await driven.press("enter")
        await driven.confirm_cautions()
        await driven.press("j")
        await driven.type("what does it do")
        assert driven.next_step == "complaint"
        await driven.click("It cranks, but slowly", column=3)
        assert driven.job.session.state.answers["complaint"] == "cranks-slowly"


async def test_a_click_on_a_part_opens_it(bay: Open) -> None:
    async with bay("parcel-van", size=(120, 40)) as driven:
        await driven.click("engine bay cable")
        assert isinstance(driven.app.screen, Page)
        assert "0.9 m, 35 mm2" in driven.shown()
        await driven.click("Esc back")
        assert isinstance(driven.app.screen, JobScreen)
        assert any(line.startswith(" >bulkhead starter lug") for line in driven.shown().splitlines())
