"""The folder ``tools`` is not installed, and ``pytest`` alone does not look into the checkout."""

import sys
from pathlib import Path

ROOT = str(Path(__file__).resolve().parents[2])
if ROOT not in sys.path:
    sys.path.append(ROOT)
