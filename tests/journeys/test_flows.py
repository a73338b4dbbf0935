"""The ways of a host, by keyboard alone, at phone and at desktop size."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from service.tables import Delivery, Escalation, Gap, Lesson
from tests.journeys.conftest import LODGE, LOFT, Site
from tests.journeys.keys import press, tab_to, type_into

ANSWER = "Leave the house and ring 999 first. I am on my way."


def test_paste_to_copied_reply(page: Page, site: Site) -> None:
    """
    A guest's message is pasted, its draft read, changed, and copied; what is copied is what was
    last written.
    """
    page.goto(f"{site.url}/paste")
    type_into(page, page.get_by_label("What did the guest write?"), "where are the bins?")
    tab_to(page, page.get_by_label("Which house or stay?"))
    page.keyboard.type("Ferry")
    press(page, page.get_by_role("button", name="Draft a reply"))

    expect(page.get_by_role("heading", name="Draft for Ferry Lodge")).to_be_visible()
    reply = page.get_by_label("Reply", exact=True)
    expect(reply).to_have_value(re.compile("The bins are behind the boat shed"))
    expect(page.get_by_role("link", name="Bins", exact=True)).to_be_visible()
    tab_to(page, reply)
    page.keyboard.press("ControlOrMeta+End")
    page.keyboard.type("\nSee you soon!")
    press(page, page.get_by_role("button", name="Copy the reply"))

    expect(page.get_by_role("button", name="Copied")).to_be_visible()
    copied = page.evaluate("navigator.clipboard.readText()")
    assert copied == reply.input_value()
    assert copied.endswith("See you soon!")


def test_the_segments_are_counted_as_one_types(page: Page, site: Site) -> None:
    """
    The count follows what is typed: more than 160 characters are two segments.
    """
    page.goto(f"{site.url}/messages/{site.filled.threads['mabel']}")
    field = page.get_by_label("Write to the guest")
    type_into(page, field, "a" * 160)
    expect(page.locator("#cost")).to_have_text("1 segment")
    page.keyboard.type("a")
    expect(page.locator("#cost")).to_have_text("2 segments")


def test_alert_taken_and_answered(page: Page, site: Site) -> None:
    """
    The emergency is found first, taken, and answered; the guest is sent the host's words.
    """
    page.goto(f"{site.url}/paste")
    press(page, page.get_by_role("link", name="Alerts 2 waiting"))
    alert = page.get_by_role("article", name="Someone may be in danger")
    press(page, alert.get_by_role("button", name="I take it"))

    expect(page.get_by_role("status").first).to_contain_text("You have it now")
    expect(alert).to_contain_text("You have it")
    type_into(page, alert.get_by_label("Your answer"), ANSWER)
    press(page, alert.get_by_role("button", name="Send to the guest"))

    expect(page.get_by_role("status").first).to_contain_text("on their way to the guest")
    with site.database.reading() as session:
        state = session.get_one(Escalation, site.filled.alerts["heat"]).state
        sent = session.query(Delivery).filter(Delivery.author == "person:1").one()
        assert (state, sent.text, sent.to) == ("answered", ANSWER, "+442079460123")


def test_gap_to_fact_to_asked_again(page: Page, site: Site) -> None:
    """
    A gap is answered on its page; a check tells that it answers both past questions; saved, it is
    a fact of the house, and the guests' questions, asked again, are answered by it.
    """
    page.goto(f"{site.url}/gaps")
    press(page, page.get_by_role("link", name=re.compile("Hair dryer")))
    expect(page.get_by_role("heading", name="Hair dryer")).to_be_visible()
    answer = page.get_by_label("What a guest reads")
    type_into(page, answer, "The hair dryer hangs in the wardrobe of the front room.")
    expect(page.locator("#preview")).to_contain_text("The hair dryer hangs")
    press(page, page.get_by_role("button", name="Check the answer"))
    expect(page.locator("#preview")).to_contain_text("Answered now (2)")
    expect(answer).to_have_value("The hair dryer hangs in the wardrobe of the front room.")
    press(page, page.get_by_role("button", name="Save as a fact"))

    expect(page.get_by_role("status").first).to_contain_text("Written")
    # The page looks again by itself until the house is open with the new fact.
    expect(page.get_by_text("Answered now")).to_have_count(2, timeout=60_000)
    with site.database.reading() as session:
        gap = session.get_one(Gap, site.filled.gaps["dryer"])
        assert (gap.state, gap.fact) == ("written", "hair-dryer")
    text = (site.files / f"{LODGE}.yaml").read_text(encoding="utf-8")
    assert "hangs in the wardrobe" in text


def test_a_draft_is_judged_and_stays(page: Page, site: Site) -> None:
    """
    What the host makes of one part is noted beside it, with the draft still there to be copied,
    and the next part is judged as well; one that needs a fact says so, and keeps its form.
    """
    page.goto(f"{site.url}/paste")
    page.get_by_label("What did the guest write?").fill("where are the bins? is there a sauna?")
    page.get_by_label("Which house or stay?").select_option(f"house:{LODGE}")
    page.get_by_role("button", name="Draft a reply").click()
    bins, sauna = (page.get_by_role("article", name=words) for words in ("bins", "sauna"))

    press(page, bins.get_by_text("Right or not?"))
    press(page, bins.get_by_role("button", name="Right", exact=True))
    expect(bins.get_by_text("Noted as right.")).to_be_focused()
    press(page, sauna.get_by_text("Does a fact answer it?"))
    type_into(page, sauna.get_by_label(re.compile("fact", re.I)).last, "Rowing boat")
    press(page, sauna.get_by_role("button", name="Answered by this fact"))
    expect(sauna.get_by_text("this way of asking now belongs to that fact")).to_be_focused()
    expect(page.get_by_label("Reply", exact=True)).to_have_value(re.compile("boat shed"))

    with site.database.reading() as session:
        verdicts = [(lesson.verdict, lesson.text) for lesson in session.query(Lesson)]
    assert verdicts == [("right", "where are the bins?"), ("answered-by", "is there a sauna?")]
    assert "is there a sauna?" in (site.files / f"{LODGE}.yaml").read_text(encoding="utf-8")


def test_a_note_is_written_and_guests_get_it(page: Page, site: Site) -> None:
    """
    A how-to note is written on the House page: what is wrong is told as one types, then what a
    guest gets; saved, it is a file of the house, and answers a guest.
    """
    page.goto(f"{site.url}/houses/{LOFT}")
    press(page, page.get_by_role("link", name="Write a how-to note"))
    type_into(page, page.get_by_label("Title"), "Use the cider press")
    type_into(page, page.get_by_label("Topic"), "Orchard")
    steps = page.get_by_label("What a guest reads, step by step")
    type_into(page, steps, "1. Wash the apples.\n2. Turn the handle of the {press}")
    expect(page.locator("#preview")).to_contain_text("no value is called that")
    steps.fill("1. Wash the apples.\n2. Turn the handle of the cider press.")
    tab_to(page, page.get_by_label("Cautions"))
    page.keyboard.type("Keep fingers away from the screw.")
    expect(page.locator("#preview .bubble")).to_contain_text("Careful: Keep fingers away")
    press(page, page.get_by_role("button", name="Save the note"))

    expect(page.get_by_role("status").first).to_contain_text("Written")
    expect(page.get_by_role("heading", name="Use the cider press")).to_be_visible()
    note = site.files / LOFT / "notes" / "use-the-cider-press.md"
    assert "2. Turn the handle of the cider press.\n" in note.read_text(encoding="utf-8")
    opened = page.get_by_role("link", name=re.compile("Use the cider press"))
    for _ in range(60):  # the house is opened anew in the background
        page.goto(f"{site.url}/houses/{LOFT}?search=cider")
        if opened.count():
            break
        page.wait_for_timeout(500)
    page.goto(f"{site.url}/paste")
    page.get_by_label("What did the guest write?").fill("how do we use the cider press?")
    page.get_by_label("Which house or stay?").select_option(f"house:{LOFT}")
    page.get_by_role("button", name="Draft a reply").click()
    reply = page.get_by_label("Reply", exact=True)
    expect(reply).to_have_value(re.compile("1. Wash the apples"))
