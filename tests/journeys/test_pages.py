"""Every page in a real browser: no violation that axe-core finds, nothing lost at twice the text.

axe-core checks what a machine can of WCAG 2.2 (levels A and AA) and of good practice; the version
is the one that axe-playwright-python brings.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from service.access.sign_in import first_link
from service.tables import Person
from tests.journeys.conftest import LODGE, LOFT, NOW, SIZES, Site, enter
from tests.service.console.filling import TAKE_KEY
from tests.service.console.routes import routes

EMPTY = {"/messages": "?search=nothing-at-all", "/gaps": "?state=dismissed"}


def addresses(site: Site) -> dict[str, str]:
    """The address of every page, by its route; a new route without one fails here."""
    filled = site.filled
    with site.database.writing() as session:
        guest = Person(name="New", role="staff", houses=[LODGE], created_at=NOW)
        session.add(guest)
    paths = {
        "{thread_id}": filled.threads["mabel"],
        "{stay_id}": filled.stays["mabel"],
        "{gap_id}": filled.gaps["dryer"],
        "{slug}": LODGE,
        "{fact_id}": "stove",
        "{key}": TAKE_KEY,
    }
    found = {}
    for method, route in routes():
        if method != "GET" or route in ("/start/{key}", "/numbers.csv"):
            continue
        path = route
        for name, value in paths.items():
            path = path.replace(name, str(value))
        assert "{" not in path, f"say what stands for the id in {route}"
        found[route] = path
    found |= {f"{path} with nothing in it": path + query for path, query in EMPTY.items()}
    found |= {f"a note of {slug}": f"/houses/{slug}/new?note=yes" for slug in (LODGE, LOFT)}
    return found | {"an error": "/houses/nowhere"}


def visit_all(page: Page, site: Site) -> Iterator[str]:
    """Goes to every page; gives what it is."""
    for name, path in addresses(site).items():
        answer = page.goto(site.url + path)
        assert answer is not None
        assert answer.status == (404 if name == "an error" else 200), name
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        yield name
    page.goto(f"{site.url}/paste")
    page.fill("#text", "where are the bins? is there a sauna? I smell gas!")
    page.select_option("#about", f"house:{LODGE}")
    page.click("button.main")
    expect(page.locator("#full")).to_be_visible()
    yield "a draft"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing(chromium: Browser, site: Site, size: str, scheme: str) -> None:
    """
    axe-core finds no violation on any page, light and dark, at phone and at desktop size.
    """
    context = enter(chromium, site, size, color_scheme=scheme)
    page = context.new_page()
    found = []
    for name in visit_all(page, site):
        for violation in Axe().run(page).response["violations"]:
            nodes = [node["html"][:120] for node in violation["nodes"][:3]]
            found.append((name, violation["id"], violation["help"], nodes))
    context.close()

    assert found == []


def test_axe_would_find_something(chromium: Browser, site: Site) -> None:
    """
    The check above is no empty one: a field without a label is found.
    """
    context = enter(chromium, site, "phone")
    page = context.new_page()
    page.goto(f"{site.url}/paste")
    page.evaluate("document.querySelector('label[for=text]').remove(), 0")
    page.evaluate("document.querySelector('#text').removeAttribute('placeholder'), 0")
    violations = [each["id"] for each in Axe().run(page).response["violations"]]
    context.close()

    assert "label" in violations


LOST = """() => {
  const wide = document.documentElement.clientWidth;
  const lost = [];
  for (const e of document.querySelectorAll("main *, header *")) {
    if (e.closest(".sr, .scroll, svg, .cut, option, .skip")) continue;
    const box = e.getBoundingClientRect();
    if (!box.width || !box.height) continue;
    const html = e.outerHTML.slice(0, 90);
    if (box.right > wide + 1 || box.left < -1) lost.push("beside the page: " + html);
    const style = getComputedStyle(e);
    const cut = style.overflowX !== "visible" && e.scrollWidth > e.clientWidth + 1;
    if (cut && !["INPUT", "TEXTAREA", "SELECT"].includes(e.tagName))
      lost.push("cut off: " + html);
  }
  if (document.documentElement.scrollWidth > wide) lost.push("the page scrolls sideways");
  return lost;
}"""


@pytest.mark.parametrize("size", SIZES)
def test_text_at_twice_its_size(chromium: Browser, site: Site, size: str) -> None:
    """
    At 200 % text nothing is cut off and no page scrolls sideways (WCAG 2.2, 1.4.4), nor at once
    and a half on the small screen (1.4.10 asks for 320 CSS pixels, which is less than that).
    """
    # The test's own style is no part of the page, which would refuse it.
    context = enter(chromium, site, size, bypass_csp=True)
    page = context.new_page()
    lost = []
    for name in visit_all(page, site):
        page.add_style_tag(content="html { font-size: 200% !important; }")
        lost += [(name, each) for each in page.evaluate(LOST)]
    context.close()

    assert lost == []


def test_a_narrow_window(chromium: Browser, site: Site) -> None:
    """
    At 320 CSS pixels no page scrolls sideways (WCAG 2.2, 1.4.10 Reflow).
    """
    context = enter(chromium, site, "phone")
    page = context.new_page()
    page.set_viewport_size({"width": 320, "height": 640})
    lost = []
    for name in visit_all(page, site):
        lost += [(name, each) for each in page.evaluate(LOST)]
    context.close()

    assert lost == []


SMALL = """() => [...document.querySelectorAll("main button, main input:not([type=hidden]),"
  + "main select, main textarea, main summary, nav a, a.button, .tick, .pick")]
  .filter(e => !["checkbox", "radio"].includes(e.type) && e.checkVisibility())
  .map(e => [e.getBoundingClientRect(), e.outerHTML.slice(0, 90)])
  .filter(([box]) => box.height < 43.5 || box.width < 43.5)
  .map(([box, html]) => `${Math.round(box.width)}x${Math.round(box.height)} ${html}`)"""


def test_targets_are_large_enough_for_a_thumb(chromium: Browser, site: Site) -> None:
    """
    What one taps is at least 44 CSS pixels high and wide (WCAG 2.2, 2.5.5, level AAA); links
    within a sentence are the standard's own exception.
    """
    context = enter(chromium, site, "phone")
    page = context.new_page()
    small = [(name, each) for name in visit_all(page, site) for each in page.evaluate(SMALL)]
    context.close()

    assert small == []


def test_nothing_moves_for_who_wants_no_motion(chromium: Browser, site: Site) -> None:
    """
    With reduced motion no element has a transition or an animation.
    """
    moving = """() => [...document.querySelectorAll("*")].filter(e => {
      const s = getComputedStyle(e);
      return s.animationName !== "none" || s.transitionDuration.split(", ").some(d => d !== "0s");
    }).length"""
    for wish, expected in (("reduce", False), ("no-preference", True)):
        context = enter(chromium, site, "phone", reduced_motion=wish)
        page = context.new_page()
        page.goto(f"{site.url}/paste")
        assert bool(page.evaluate(moving)) is expected
        context.close()


def test_without_a_script(chromium: Browser, site: Site) -> None:
    """
    With JavaScript off a message is drafted, an alert taken and answered, and a gap written.
    """
    context = enter(chromium, site, "phone", java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{site.url}/paste")
    page.fill("#text", "where are the bins?")
    page.select_option("#about", f"house:{LODGE}")
    page.get_by_role("button", name="Draft a reply").click()
    expect(page.get_by_label("Reply", exact=True)).to_have_value(re.compile("boat shed"))
    expect(page.get_by_role("button", name=re.compile("Copy"))).to_have_count(0)

    page.goto(f"{site.url}/alerts")
    alert = page.get_by_role("article", name="Someone may be in danger")
    alert.get_by_role("button", name="I take it").click()
    alert.get_by_label("Your answer").fill("I am on my way.")
    alert.get_by_role("button", name="Send to the guest").click()
    expect(page.get_by_role("status").first).to_contain_text("Answered")

    page.goto(f"{site.url}/gaps/{site.filled.gaps['dryer']}")
    page.get_by_label("What a guest reads").fill("It hangs in the wardrobe.")
    page.get_by_role("button", name="Check the answer").click()
    expect(page.locator("#preview")).to_contain_text("It hangs in the wardrobe.")
    page.get_by_role("button", name="Save as a fact").click()
    expect(page.get_by_role("status").first).to_contain_text("Written")
    context.close()


def test_the_first_start(chromium: Browser, site: Site) -> None:
    """
    The link of the first start leads through setting a password to the first page, and out and in.
    """
    with site.database.writing() as session:
        for person in session.query(Person):
            person.password_hash = None
        link = first_link(session, NOW)
    context = chromium.new_context(viewport=SIZES["phone"])
    page = context.new_page()
    page.goto(f"{site.url}/start/{link}")
    assert Axe().run(page).response["violations"] == []
    page.get_by_label("Your name").fill("Wilma")
    page.get_by_label("E-mail").fill("wilma@example.org")
    page.get_by_label("Password").fill("a ferry with a blue door")
    page.get_by_role("button", name="Save and sign in").click()
    expect(page.get_by_role("heading", name="Paste")).to_be_visible()

    page.goto(f"{site.url}/more")
    page.get_by_role("main").get_by_role("button", name="Sign out").click()
    expect(page.get_by_role("status")).to_have_text("You are signed out.")
    page.get_by_label("E-mail").fill("wilma@example.org")
    page.get_by_label("Password").fill("a ferry with a blue door")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("heading", name="Paste")).to_be_visible()
    context.close()
