"""A person who has only a keyboard."""

from __future__ import annotations

from playwright.sync_api import Locator, Page

__all__ = ["press", "tab_to", "type_into"]

_MOST_TABS = 120


def tab_to(page: Page, wanted: Locator) -> None:
    """Presses Tab until what is wanted has the focus, and shows it."""
    element = wanted.element_handle()
    for _ in range(_MOST_TABS):
        page.keyboard.press("Tab")
        if page.evaluate("wanted => document.activeElement === wanted", element):
            style = "e => getComputedStyle(e).outlineStyle"
            assert element.evaluate(style) != "none", "one cannot see where the focus is"
            return
    raise AssertionError(f"Tab never came to {wanted}")


def press(page: Page, wanted: Locator, key: str = "Enter") -> None:
    """Goes to a button or link, and presses it."""
    tab_to(page, wanted)
    page.keyboard.press(key)


def type_into(page: Page, wanted: Locator, text: str) -> None:
    """Goes to a field, and writes."""
    tab_to(page, wanted)
    page.keyboard.type(text)
