"""``python -m matchkit``."""

import sys

from matchkit.cli import main

sys.exit(main())
