"""How the pages look: accessible, on every screen, in light and dark."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from oralquiz.rounds.planning import RoundPlan, Way
from tests.browser.lesson import join, on_loop, open_code
from tests.browser.running_server import ColorScheme, RunningServer, Visitor
from tests.sizes import size

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def violations(axe: Axe, page: Page, rules: list[str], *, frames: bool = True) -> list[str]:
    response = axe.run(page, options={"runOnly": rules, "iframes": frames}).response
    assert response["passes"]  # the rules had something to look at
    return [
        f"{v['id']}: {[n['html'][:90] for n in v['nodes'][:3]]}" for v in response["violations"]
    ]


def test_an_accessibility_engine_finds_nothing(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    """axe-core, all rules of WCAG 2.0 to 2.2 at A and AA and its best practices."""
    found: dict[str, list[str]] = {}
    axe = Axe()

    def look(page: Page, what: str, *, dark: bool = size(False, True)) -> None:
        page.emulate_media(color_scheme="light")
        found[what] = violations(axe, page, RULES)
        if not dark:
            return
        page.emulate_media(color_scheme="dark")  # which changes nothing but colours
        found[f"{what}, dark"] = violations(axe, page, ["color-contrast"])

    room.classroom.plan = RoundPlan("direct", Way.OWN, count=1, terms=2, pace_s=1.5)
    pupil = join(room, visitors, "Asha Rao", viewport=(390, 844))
    look(pupil, "waiting")
    pupil.click("summary:has-text('Practise')")
    pupil.click("summary:has-text('Settings')")
    look(pupil, "practice and settings", dark=True)
    pupil.click("summary:has-text('Settings')")
    pupil.click("#go")
    expect(pupil.locator("#say")).to_have_text("Listen")
    look(pupil, "listening")
    pupil.click("[data-command=stop]")
    expect(pupil.locator("#say")).to_have_text("The round is over.")
    look(pupil, "over")

    teacher = visitors(f"{room.url}/class", microphone=False).page
    if not room.classroom.codes.open_for("3B"):
        teacher.click("text=Open with a new code")
    for path in (
        "class",
        "plan",
        "live",
        "results",
        "about",
        "wall",
        "join",
        "class/erase?pupil=Ben Okoro",
        "class/pupil?name=Ben Okoro",
    ):
        teacher.goto(f"{room.url}/{path}")
        look(teacher, path, dark=size(path in ("class", "live", "wall"), True))
    teacher.goto(f"{room.url}/results")
    teacher.click("tbody th a >> nth=0")
    look(teacher, "one result", dark=True)
    assert {what: problems for what, problems in found.items() if problems} == {}


def test_targets_and_reflow(room: RunningServer, visitors: Callable[..., Visitor]) -> None:
    """What the engine cannot see: 24 px targets everywhere, nothing to scroll sideways at 320 px
    (WCAG 2.5.8 and 1.4.10), nothing that moves when reduced motion is asked for (2.3.3)."""
    page = visitors(
        f"{room.url}/class", microphone=False, viewport=(320, 640), reduced_motion="reduce"
    ).page
    for path in ("class", "plan", "live", "results", "about", "join", "class/pupil?name=Asha Rao"):
        page.goto(f"{room.url}/{path}")
        wide, small, moving = page.evaluate(
            """() => [
              document.documentElement.scrollWidth - innerWidth,
              [...document.querySelectorAll("a, button, input, select, textarea, summary")]
                .filter((e) => e.checkVisibility() && e.type !== "hidden" && !e.closest("p, li"))
                .filter((e) => !e.matches(".skip"))
                .map((e) => [e.outerHTML.slice(0, 80), e.getBoundingClientRect()])
                .filter(([, box]) => box.width < 24 || box.height < 24).map(([html]) => html),
              [...document.querySelectorAll("*")].filter((e) => {
                const s = getComputedStyle(e);
                return s.animationName !== "none" || !/^0s(, 0s)*$/.test(s.transitionDuration);
              }).map((e) => e.outerHTML.slice(0, 80)),
            ]"""
        )
        assert wide <= 0, path
        assert small == [], path
        assert moving == [], path


def test_the_wall_fits_with_everything_on_it(
    room: RunningServer, visitors: Callable[..., Visitor]
) -> None:
    """Nobody scrolls a projector: the answer that was asked for is on the screen."""
    page = visitors(f"{room.url}/wall", microphone=False).page
    page.evaluate(
        """() => {
          const put = (id, text) => {
            const part = document.getElementById(id);
            part.hidden = false;
            part.textContent = text;
          };
          document.getElementById("join").hidden = true;
          document.getElementById("round").hidden = false;
          put("title", "+ 8 is + 10 - 2");
          put("where", "Sum 12 of 48");
          put("who", "Asha Rao");
          put("state", "Once more, please");
          put("count", "17 of 20 have answered");
          put("answer", "55 + 12 − 17 + 28 + 11 − 60 = 29");
          put("reveal", "Show the answer");
          document.getElementById("stones").innerHTML = "<i></i>".repeat(6);
        }"""
    )
    for width, height in [(1920, 1080), (1366, 768), (1280, 720), (1024, 768)]:
        page.set_viewport_size({"width": width, "height": height})
        below = page.evaluate("document.documentElement.scrollHeight - innerHeight")
        assert below <= 0, (width, height)


SCREENS = {"phone": (390, 844), "tablet": (1180, 820), "laptop": (1366, 768), "wall": (1920, 1080)}


@pytest.mark.parametrize("screen", SCREENS)
def test_what_matters_is_on_the_screen_in_light_and_in_dark(
    room: RunningServer, visitors: Callable[..., Visitor], screen: str
) -> None:
    """Nobody has to scroll to the code on the wall or to the button that joins; and a room that
    is dark gets dark pages (the accessibility engine looks at their contrast)."""
    on_loop(room, open_code(room))
    path, wanted = (
        ("wall", "#join .code, #join .qr svg") if screen == "wall" else ("join", "form *")
    )
    page = visitors(f"{room.url}/{path}", microphone=False, viewport=SCREENS[screen]).page
    brightness = {}
    schemes: list[ColorScheme] = ["light", "dark"]
    for scheme in schemes:
        page.emulate_media(color_scheme=scheme)
        expect(page.locator(wanted).first).to_be_visible()
        outside, brightness[scheme] = page.evaluate(
            """(wanted) => [
              [...document.querySelectorAll(wanted)].map((e) => [e, e.getBoundingClientRect()])
                .filter(([, box]) => box.left < 0 || box.top < 0 || box.right > innerWidth
                  || scrollY + box.bottom > innerHeight)
                .map(([e]) => e.outerHTML.slice(0, 80)),
              getComputedStyle(document.body).backgroundColor.match(/[0-9]+/g)
                .slice(0, 3).reduce((sum, part) => sum + Number(part) / 3, 0),
            ]""",
            wanted,
        )
        assert outside == []
    assert brightness["light"] > 200
    assert brightness["dark"] < 60
