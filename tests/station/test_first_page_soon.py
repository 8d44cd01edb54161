from __future__ import annotations

import subprocess
import sys

LATER = ("pint", "numpy", "sqlalchemy", "reportlab", "pyqtgraph")


def test_the_first_page_waits_for_nothing_it_does_not_need() -> None:
    """What takes long to load, and serves a job or the archive, is loaded when that is opened."""
    told = f"import sys, station.bench_app; print([each for each in {LATER} if each in sys.modules])"
    ran = subprocess.run([sys.executable, "-c", told], capture_output=True, text=True, check=True, timeout=60)
    assert ran.stdout.strip() == "[]"
