"""Journeys share the crew of floor.py."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
