"""`python -m groundstation.cli` is the command `groundstation`; the demo starts its simulator this way."""

import sys

from groundstation.cli import main

sys.exit(main())
