"""Pictures of every page, for the handbook: `python rig_docs/make/screenshots.py [FOLDER]`.

A furnished ferry workshop is served on virtual benches and looked at by Debian's chromium, on a
phone's screen and on a desk's.  Takes some minutes; writes `screens/NAME-WIDTH.png` beside this
folder.
"""

from __future__ import annotations

import sys
from io import BytesIO
from pathlib import Path
from tempfile import TemporaryDirectory

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

from PIL import Image  # noqa: E402
from playwright.sync_api import Browser, Page, sync_playwright  # noqa: E402

from system.browser.conftest import CHROMIUM, WIDTHS, sign_in  # noqa: E402
from system.browser.places import file_name, places  # noqa: E402
from system.browser.steps import line_drawn, plan_night, start_night  # noqa: E402
from system.web_shop import EVERYBODY, LEAKY, Served, furnish, served  # noqa: E402

COLOURS = 64
TALLEST_PX = 1600
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
        page.set_viewport_size(size)
        save_small(page.screenshot(scale="css"), folder / f"{name}-{width}.png")
        page.set_viewport_size(WIDTHS[width])

    page.goto("/sign-in")
    take("sign-in")
    sign_in(page, EVERYBODY)
    for path, address in places(workshop).items():
        if path != "/sign-in":
            page.goto(address)
            if path == "/bench":
                wait_for_curves(page)
            else:
                page.wait_for_load_state("networkidle")
            take(file_name(path))
    plan_night(page, LEAKY)
    start_night(page)
    page.get_by_role("alert").filter(has_text="Tripped").wait_for()
    take("bench-tripped")
    context.close()


def wait_for_curves(page: Page) -> None:
    """Wait until the bath's curve is drawn; raises TimeoutError where it never is."""
    chart = page.get_by_role("img", name="Bath temperature and set-point against time")
    for _ in range(100):
        if line_drawn(chart):
            return
        page.wait_for_timeout(100)
    raise TimeoutError("the Bench page draws no curve")


def save_small(picture: bytes, path: Path) -> None:
    """Write a picture in few colours: pages are flat, and the handbook stays small."""
    image = Image.open(BytesIO(picture)).convert("RGB")
    image.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)


if __name__ == "__main__":
    main()
