"""Puts this folder on the path, so that tests can share builders such as ``examples_answer``."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
