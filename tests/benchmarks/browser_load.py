"""How soon a screen is live and how busy it keeps its browser: `browser_load.py [hours] [seconds]`.

A run with a history of 10 h grows by 10 samples a second, six stations each, before Debian's
chromium.  Goals: the first live sample within 0.5 s of loading the page, and the browser's main
thread at most 20 % busy.  The share is the thread's own time: what other programs take of the
computer does not count.
"""

from __future__ import annotations

import argparse
import math
import statistics
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

sys.path.insert(0, str(Path(__file__).parents[1]))

from playwright.sync_api import CDPSession, Page, sync_playwright

from host.bench.samples import sample
from host.web.live_journal import LiveJournal
from host.workshop.ferry_shop import OPERATOR, QUAY, ferry_shop
from proofbath.wire.table import State
from system.browser.conftest import CHROMIUM, WIDTHS, sign_in
from system.web_shop import give_passwords, served

RATE_HZ = 10
LOADS = 10
WINDOWS = ("Whole run", "Last hour", "Last 10 min")
FIRST_SAMPLE = """() => {
  const Before = WebSocket;
  window.WebSocket = class extends Before {
    constructor(...words) {
      super(...words);
      this.addEventListener("message", (event) => {
        const history = JSON.parse(event.data).history;
        if (window.firstSampleMs === undefined && history && history.t_s.length) {
          requestAnimationFrame(() => { window.firstSampleMs = performance.now(); });
        }
      });
    }
  };
}"""
"""Tells when the first samples came and were drawn, in ms since the page was asked for."""


def main() -> None:
    """Print both figures."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("hours", type=float, nargs="?", default=10.0)
    parser.add_argument("seconds", type=int, nargs="?", default=20)
    options = parser.parse_args()
    hours, seconds = options.hours, options.seconds
    with TemporaryDirectory() as name:
        folder = Path(name)
        with ferry_shop(folder) as ferry:
            give_passwords(ferry.shop, ferry.stamp)
        with (
            growing_run(folder / "records.sqlite", hours),
            served(folder / "workshop.toml", speed=1) as workshop,
            sync_playwright() as playwright,
        ):
            browser = playwright.chromium.launch(
                executable_path=CHROMIUM, args=["--disable-gpu", "--no-sandbox"]
            )
            for width, size in WIDTHS.items():
                context = browser.new_context(
                    base_url=workshop.address,
                    viewport=size,
                    bypass_csp=True,  # to be asked while it waits
                )
                context.add_init_script(f"({FIRST_SAMPLE})()")
                page = context.new_page()
                sign_in(page, OPERATOR)
                measure(page, width, hours, seconds)
                context.close()
            browser.close()


def measure(page: Page, width: int, hours: float, seconds: int) -> None:
    """Print the figures of a screen."""
    took_s = []
    for _ in range(LOADS):
        page.goto(f"/bench?name={QUAY}")
        page.wait_for_function("window.firstSampleMs !== undefined")
        took_s.append(page.evaluate("window.firstSampleMs") / 1000)
    print(
        f"{width} px: first live sample drawn after {statistics.median(took_s):.2f} s"
        f" (the slowest of {LOADS} loads {max(took_s):.2f} s)"
    )
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable", {"timeDomain": "threadTicks"})
    for window in WINDOWS:
        page.get_by_role("button", name=window, exact=True).click()
        busy = busy_share(page, session, seconds)
        print(f"{width} px: {window.lower()} of {hours:g} h at {RATE_HZ} Hz: {busy:.1%} busy")


def busy_share(page: Page, session: CDPSession, seconds: int) -> float:
    """Return which share of its time the page's main thread works."""
    page.wait_for_timeout(2000)  # what the click itself costs is not meant
    before = metrics(session)
    page.wait_for_timeout(1000 * seconds)
    after = metrics(session)
    lasted_s = after["Timestamp"] - before["Timestamp"]
    return (after["TaskDuration"] - before["TaskDuration"]) / lasted_s


def metrics(session: CDPSession) -> dict[str, float]:
    """Return what the browser counts of a page."""
    return {one["name"]: one["value"] for one in session.send("Performance.getMetrics")["metrics"]}


@contextmanager
def growing_run(records: Path, hours: float) -> Iterator[None]:
    """Journal a run so many hours long, then go on with it in real time until left."""
    live = LiveJournal(records)
    live.begin()
    for second in range(int(hours * 3600)):
        commit(live, second, flush=second % 60 == 59)
    ended = threading.Event()

    def grow() -> None:
        second = int(hours * 3600)
        while not ended.wait(1.0):
            commit(live, second)
            second += 1

    writer = threading.Thread(target=grow)
    writer.start()
    try:
        yield
    finally:
        ended.set()
        writer.join()
        live.close()


def commit(live: LiveJournal, second: int, flush: bool = True) -> None:
    """Journal a second of a bath that rises and falls each hour, and of units that follow it."""
    swing = math.sin(2 * math.pi * second / 3600)
    lifts = tuple(round(4000 + 3000 * swing + 200 * station) for station in range(6))
    for tenth in range(1, RATE_HZ + 1):
        number = second * RATE_HZ + tenth
        live.writer.append(
            sample(
                state=State.LIVE,
                sequence=number,
                device_ms=100 * number,
                bath_sum=round(39_000 + 4000 * swing) + tenth,
                lift_sum=lifts,
            )
        )
    if flush:
        live.writer.commit()


if __name__ == "__main__":
    main()
