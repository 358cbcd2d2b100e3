"""What somebody without a mouse does: Tab until a control is reached, then type or press Enter."""

from dataclasses import dataclass

from playwright.sync_api import Page

MOST_TABS = 250
FOCUSED = """() => {
    const one = document.activeElement;
    return {
        words: (one.getAttribute("aria-label") || one.textContent || "").trim().replace(/\\s+/g, " "),
        name: one.name || "",
    };
}"""


@dataclass(frozen=True)
class Keyboard:
    """Only keys reach the page. A control that Tab does not reach fails."""

    page: Page

    def to(self, *, words: str = "", name: str = "") -> None:
        """Tab to the control that says ``words``, or whose form name ends in ``name``."""
        for _ in range(MOST_TABS):
            self.page.keyboard.press("Tab")
            focused = self.page.evaluate(FOCUSED)
            if (name and focused["name"].endswith(name)) or (words and focused["words"] == words):
                return
        raise AssertionError(f"Tab does not reach {words or name}")

    def press(self, words: str) -> None:
        """Tab to a link or button and press Enter; another page comes."""
        self.to(words=words)
        with self.page.expect_navigation():
            self.page.keyboard.press("Enter")

    def fill(self, name: str, typed: str) -> None:
        self.to(name=name)
        self.page.keyboard.type(typed)

    def choose(self, wanted: str) -> None:
        """With the arrows, the wanted one of the group of radio buttons that has the focus."""
        self.page.keyboard.press("Space")
        for _ in range(10):
            if self.page.evaluate("document.activeElement.checked && document.activeElement.value") == wanted:
                return
            self.page.keyboard.press("ArrowDown")
        raise AssertionError(f"the arrows do not reach {wanted}")
