import sys
from pathlib import Path

# Tests are imported one by one, without packages: what several of them share is found by its folder.
sys.path += [str(Path(__file__).parent), str(Path(__file__).parents[1] / "dashboard")]
