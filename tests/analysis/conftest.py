"""The stopwatch plant and the small plans of the sequencer's tests serve here too."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "routine"))
