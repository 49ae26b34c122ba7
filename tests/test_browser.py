"""The harness itself: it hears, sees and reports what a page does."""

from __future__ import annotations

import browser
import pytest

PAGE = """<!doctype html><html lang="en"><head><title>t</title></head><body><main><h1>t</h1>
<p style="width: 2000px; color: #999; background: #fff">pale</p>
<img src="http://127.0.0.1:9/away.png">
<script>console.warn("heard"); window.setTimeout(() => { throw new Error("uncaught"); });</script>
</main></body></html>"""


def test_harness_notices_what_a_page_does_wrong(tmp_path):
    path = tmp_path / "page.html"
    path.write_text(PAGE, encoding="utf-8")
    with browser.chromium() as chromium, browser.visit(chromium, path) as seen:
        seen.page.wait_for_timeout(50)
        assert any("heard" in text for text in seen.complaints())
        assert any("uncaught" in text for text in seen.complaints())
        assert seen.leaving(path.as_uri()) == ["http://127.0.0.1:9/away.png"]
        assert seen.overflow() > 500
        found = " ".join(seen.violations())
        assert "image-alt" in found and "color-contrast" in found


def test_missing_browser_skips_unless_it_is_required(monkeypatch):
    monkeypatch.setattr(browser.shutil, "which", lambda name: None)
    monkeypatch.delenv("COLONY_SIM_BROWSER", raising=False)
    with pytest.raises(pytest.skip.Exception, match="apt-get install chromium"):
        browser.program()
    monkeypatch.setenv("COLONY_SIM_BROWSER", "required")
    with pytest.raises(pytest.fail.Exception, match="apt-get install chromium"):
        browser.program()
