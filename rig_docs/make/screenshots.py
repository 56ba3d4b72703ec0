"""Pictures of every page, for the handbook: `python rig_docs/make/screenshots.py [FOLDER]`.

A furnished ferry workshop is served on virtual benches and looked at by Debian's chromium, on a
phone's screen and on a desk's.  Takes some minutes; writes `screens/NAME-WIDTH.png` beside this
folder.
"""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import TemporaryDirectory

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

from playwright.sync_api import Browser, sync_playwright  # noqa: E402

from system.browser.conftest import CHROMIUM, WIDTHS, sign_in  # noqa: E402
from system.browser.places import file_name, places  # noqa: E402
from system.browser.steps import plan_night, start_night  # noqa: E402
from system.web_shop import EVERYBODY, LEAKY, Served, furnish, served  # noqa: E402

TALLEST_PX = 2400
"""A page that is longer is cut: the picture shows how it looks, not all it holds."""


def main() -> None:
    """Write the pictures."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE.parent / "screens"
    folder.mkdir(parents=True, exist_ok=True)
    with (
        TemporaryDirectory() as name,
        served(furnish(Path(name))) as workshop,
        sync_playwright() as playwright,
    ):
        browser = playwright.chromium.launch(
            executable_path=CHROMIUM, args=["--disable-gpu", "--no-sandbox"]
        )
        for width in WIDTHS:
            take_all(browser, workshop, folder, width)
        browser.close()


def take_all(browser: Browser, workshop: Served, folder: Path, width: int) -> None:
    """Write a picture of each page at a width, the Bench page with a run that has tripped."""
    context = browser.new_context(base_url=workshop.address, viewport=WIDTHS[width])
    page = context.new_page()

    def take(name: str) -> None:
        height = page.evaluate("document.documentElement.scrollHeight")
        size = WIDTHS[width] | {"height": min(height, TALLEST_PX)}
        page.set_viewport_size(size)  # type: ignore[arg-type]
        page.screenshot(path=folder / f"{name}-{width}.png", scale="css")
        page.set_viewport_size(WIDTHS[width])

    page.goto("/sign-in")
    take("sign-in")
    sign_in(page, EVERYBODY)
    for path, address in places(workshop).items():
        if path != "/sign-in":
            page.goto(address)
            page.wait_for_load_state("networkidle" if path != "/bench" else "load")
            take(file_name(path))
    plan_night(page, LEAKY)
    start_night(page)
    page.get_by_role("alert").filter(has_text="Tripped").wait_for()
    take("bench-tripped")
    context.close()


if __name__ == "__main__":
    main()
