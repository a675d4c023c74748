import re
import shutil
from pathlib import Path

import numpy as np

from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_station, load_vehicle
from groundstation.simulator.simulate import SimulatedVehicle

README = Path(__file__).parents[2] / "README.md"


def test_the_script_in_the_readme_reads_a_dump_of_the_example_vehicle(tmp_path, monkeypatch):
    site = load_station(EXAMPLE_STATION).site
    frames = list(SimulatedVehicle(load_vehicle(EXAMPLE_VEHICLE), site, seed=4).frames(20.0))
    (tmp_path / "dump.bin").write_bytes(b"".join(frame.data for frame in frames) + b"\x07torn")
    shutil.copy(EXAMPLE_VEHICLE, tmp_path / "my-vehicle.toml")
    monkeypatch.chdir(tmp_path)
    (script,) = re.findall(r"```python\n(.*?)```", README.read_text(encoding="utf-8"), re.DOTALL)
    seen = {}
    exec(script, seen)
    packets = sum(len(columns["n"]) for columns in seen["decoder"].columns().values())
    assert 100 < packets <= len(frames)
    assert len(seen["rejects"]) >= 1
    assert abs(np.median(seen["accel_z_mps2"]) - 9.8) < 0.1
