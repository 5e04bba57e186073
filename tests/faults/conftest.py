"""The databases of the store tests, for the tests that break things."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

STORE_TESTS = Path(__file__).parents[1] / "store"
sys.path.insert(0, str(STORE_TESTS))  # for store_yard.py and ledger_yard.py
sys.path.insert(0, str(STORE_TESTS.parent / "web"))  # for web_yard.py
sys.path.insert(0, str(Path(__file__).parent))  # for road_yard.py

_spec = importlib.util.spec_from_file_location("store_conftest", STORE_TESTS / "conftest.py")
_store = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(_store)

postgresql_address = _store.postgresql_address
new_postgresql = _store.new_postgresql
postgresql_template = _store.postgresql_template
sqlite_template = _store.sqlite_template
backend = _store.backend
empty_database_url = _store.empty_database_url
database_url = _store.database_url
engine = _store.engine
start_work = _store.start_work
