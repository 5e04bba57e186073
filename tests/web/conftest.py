"""Every screen test talks to the whole site over a real SQLite store with a small yard."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest
from starlette.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))  # for web_yard.py, which these tests share

from web_yard import Yard, load_into, write_folder

from trayside.web.services import Services
from trayside.web.site import build_site

ADDRESS = "http://127.0.0.1:8000"


@pytest.fixture(scope="session")
def loaded_template(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("web")
    load_into(folder / "yard.sqlite", write_folder(folder / "yard"))
    return folder / "yard.sqlite"


@pytest.fixture
def yard(loaded_template, tmp_path):
    yard = Yard(Path(shutil.copy(loaded_template, tmp_path / "yard.sqlite")))
    yield yard
    yard.engine.dispose()


@pytest.fixture
def browser(yard):
    """A person at the site: same-origin requests, redirects followed."""
    site = build_site(Services(yard.start_work, yard.clock, yard.make_id, yard.papers))
    with TestClient(site, base_url=ADDRESS, headers={"origin": ADDRESS}, raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def planned(browser, yard):
    """The same, with SM-01 planned."""
    assert browser.post("/hole/SM-01/sheet/plan").status_code == 200
    assert yard.sheet() is not None
    return browser
