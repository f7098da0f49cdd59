"""Every page as it looks, phone and desk, day and night: ``python -m tools.screenshots [FOLDER]``.

A server over an empty record is walked through the demonstration's job, form by form, and photographed on the way.
"""

from __future__ import annotations

import sys
import tempfile
from datetime import datetime
from pathlib import Path

from playwright.sync_api import Browser, sync_playwright

from tickover.cli.demo_job import DemoJob
from tools.walk import Shop, served, walk

WIDTHS = {"phone": 360, "desk": 1280}
LIGHTS = ("day", "night")
CHROMIUM = "/usr/bin/chromium"
IMAGES = """() => Promise.all([...document.images].filter((i) => i.getClientRects().length).map((i) => {
  i.loading = "eager";
  return i.complete ? null : new Promise((done) => { i.onload = i.onerror = done; });
}))"""
"""Until every image that shows has come."""
CHARTS = """async () => {
  for (const chart of document.querySelectorAll("figure[data-chart] .chart")) {
    if (!chart.checkVisibility()) continue;
    chart.scrollIntoView();
    for (let k = 0; k < 100 && !chart.matches(".live"); k++) await new Promise((done) => setTimeout(done, 50));
  }
  scrollTo(0, 0);
}"""
"""Until every chart that shows has drawn itself: it waits until somebody comes near it."""


def shoot(browser: Browser, shop: Shop, name: str, path: str, out: Path) -> list[str]:
    """One page in both widths and both lights; what it complained of."""
    faults: list[str] = []
    for size, width in WIDTHS.items():
        for light in LIGHTS:
            context = browser.new_context(viewport={"width": width, "height": 800})
            context.add_cookies([{"name": "light", "value": light, "url": shop.base}])
            page = context.new_page()
            page.on("pageerror", lambda e: faults.append(f"{name}: {e}"))
            page.on("console", lambda m: faults.append(f"{name}: {m.text}") if m.type == "error" else None)
            page.goto(f"{shop.base}{path}")
            page.wait_for_load_state("networkidle")
            page.evaluate(CHARTS)
            page.evaluate(IMAGES)  # not wait_for_function: our policy forbids what it evaluates in the page
            # a bar that sticks to the window would lie across the middle of a picture of the whole page
            page.evaluate("for (const bar of document.querySelectorAll('.next')) bar.style.position = 'static'")
            wide = page.evaluate("document.documentElement.scrollWidth")
            if wide > width:
                faults.append(f"{name}: {wide} px wide on a screen of {width}")
            page.screenshot(path=str(out / f"{name}-{size}-{light}.png"), full_page=True)
            context.close()
    return faults


def main(out: Path) -> int:
    """Take them all; 1 where a page complained or is too wide for a phone."""
    out.mkdir(parents=True, exist_ok=True)
    faults: list[str] = []
    with tempfile.TemporaryDirectory(prefix="tickover-") as made, sync_playwright() as play:
        logs = Path(made) / "demo"
        for _ in DemoJob(logs, 7, datetime.now().astimezone()).chapters():
            pass
        browser = play.chromium.launch(
            executable_path=CHROMIUM if Path(CHROMIUM).exists() else None, args=["--no-sandbox"]
        )
        with served(Path(made)) as shop:
            for name, path in walk(shop, logs):
                found = shoot(browser, shop, name, path, out)
                faults += found if path != "/jobs/999" else []  # a page that is not there complains of itself
                print(f"{name}  {path}", flush=True)
        browser.close()
    print(f"{len(list(out.glob('*.png')))} pictures in {out}")
    for fault in dict.fromkeys(faults):
        print(f"fault: {fault}", file=sys.stderr)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path("out/screenshots")))
