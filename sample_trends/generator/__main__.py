"""Write the committed samples: ``python -m sample_trends.generator``, in the project's root."""

from __future__ import annotations

import sys
from pathlib import Path

from sample_trends.generator.samples import write_samples

if __name__ == "__main__":
    write_samples(Path(sys.argv[1] if len(sys.argv) > 1 else "sample_trends"))
