"""The pictures of README, taken anew: python -m tests.browser.pictures [FOLDER]."""

from __future__ import annotations

import shutil
import sys
import tempfile
from contextlib import closing
from pathlib import Path

from playwright.sync_api import sync_playwright

from tests.browser.conftest import DESK, PHONE, serving
from tests.edges.web.served import LATE, ROOT, Served

FOLDER = ROOT / "fixtures" / "pictures"
KOJI = "2026-02-10T02:30:00+09:00"
PICTURES = (
    ("cellar", "demo-night", LATE, "/", PHONE, "en", "light"),
    ("tank", "demo-night", LATE, "/place/tank-5", DESK, "en", "light"),
    ("coolers", "demo-night", LATE, "/coolers/chiller-1", PHONE, "ja", "dark"),
)


def main(folder: Path = FOLDER) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with sync_playwright() as play, tempfile.TemporaryDirectory() as home:
        chromium = shutil.which("chromium")
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for name, night, until, path, size, language, colours in PICTURES:
            data = Path(home) / name
            data.mkdir()
            with closing(Served.live(data, night, until)) as watch:
                house = serving(watch)
                context = browser.new_context(
                    viewport={"width": size[0], "height": size[1]}, locale=language,
                    color_scheme=colours, device_scale_factor=1.5,  # type: ignore[arg-type]
                )  # fmt: skip
                page = context.new_page()
                page.goto(house.at + path, wait_until="load")
                page.screenshot(path=str(folder / f"{name}.png"))
                context.close()
                house.pages.stop()
        browser.close()


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
