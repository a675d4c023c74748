import importlib.util
import pathlib

import pytest

PLACE = pathlib.Path(__file__).with_name("fuzz_framings.py")


def loaded():
    spec = importlib.util.spec_from_file_location("fuzz_framings", PLACE)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


fuzz = loaded()


@pytest.mark.parametrize("name", sorted(file.stem for file in fuzz.CORPUS.glob("*.txt")))
def test_every_input_that_fuzzing_kept_decodes_alike_whole_and_in_pieces(name):
    kept = fuzz.kept(name)
    assert len(kept) > 20
    packets = 0
    for data in kept:
        fuzz.check(fuzz.LAYOUTS[name], data)
        packets += len(fuzz.outcome([fuzz.StreamDecoder(fuzz.LAYOUTS[name]).feed(data[1:])])[0])
    assert packets > 5


@pytest.mark.parametrize("name", fuzz.LAYOUTS)
def test_seeds_of_every_framing_hold_packets(name):
    layout = fuzz.LAYOUTS[name]
    for number, seed in enumerate(fuzz.seeds(layout)):
        for size in (1, 7, 40):
            fuzz.check(layout, bytes([size - 1]) + seed)
        rows, _ = fuzz.outcome([fuzz.StreamDecoder(layout).feed(seed)])
        assert rows or number >= len(fuzz.seeds(layout)) - 2
