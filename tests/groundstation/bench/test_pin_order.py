"""The pin's truth table, state by state, over everything that four states can show."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.bench.pin_order import State, points_of
from groundstation.bench.proof import Point, ProofOutcome
from groundstation.config.vehicle import PullPin
from groundstation.readiness.pull_pin import Contact, Supply

IN, OUT = Contact.IN, Contact.OUT
PASSED = ProofOutcome.PASSED
WALK = (IN, OUT, IN, OUT)


def pin(*, powers_board: bool, enables_pyro: bool) -> PullPin:
    return PullPin.model_validate(
        {"inserted_reads": 0, "powers_board": powers_board, "enables_pyro": [1] if enables_pyro else []}
    )


def silent(told: Contact) -> State:
    return State(told, False, None, False, None, None)


def sending(told: Contact, contact: Contact | None, supply: Supply | None) -> State:
    volts = {Supply.DEAD: 0.0, Supply.WEAK: 5.0, Supply.LIVE: 12.0}
    return State(told, True, contact, contact is None, supply, None if supply is None else volts[supply])


def right(told: Contact, the_pin: PullPin) -> State:
    if told is IN and the_pin.powers_board:
        return silent(told)
    supply = (Supply.LIVE if told is OUT else Supply.DEAD) if the_pin.enables_pyro else None
    return sending(told, told, supply)


def outcomes(points: list[Point]) -> set[ProofOutcome]:
    return {point.outcome for point in points}


PINS = [pin(powers_board=board, enables_pyro=pyro) for board, pyro in itertools.product((True, False), repeat=2)]


@pytest.mark.parametrize("the_pin", PINS)
def test_states_as_they_should_be_pass(the_pin: PullPin) -> None:
    assert outcomes(points_of([right(told, the_pin) for told in WALK], the_pin)) == {PASSED}


@given(st.sampled_from(PINS), st.data())
def test_any_state_that_is_not_as_it_should_be_is_no_pass_and_names_what_to_touch(
    the_pin: PullPin, data: st.DataObject
) -> None:
    supplies = [Supply.DEAD, Supply.WEAK, Supply.LIVE] if the_pin.enables_pyro else [None]
    states = []
    for told in WALK:
        sends = st.builds(sending, st.just(told), st.sampled_from([IN, OUT, None]), st.sampled_from(supplies))
        states.append(data.draw(st.one_of(st.just(right(told, the_pin)), st.just(silent(told)), sends)))
    points = points_of(states, the_pin)
    if states == [right(told, the_pin) for told in WALK]:
        assert outcomes(points) == {PASSED}
    else:
        wrong = [point for point in points if point.outcome is not PASSED]
        assert wrong
        assert all(point.look for point in wrong)


BOTH, BOARD = pin(powers_board=False, enables_pyro=True), pin(powers_board=True, enables_pyro=True)
NAMED = [
    (BOTH, [sending(IN, OUT, Supply.DEAD), sending(OUT, IN, Supply.LIVE)] * 2, "wired the wrong way round"),
    (BOTH, [sending(IN, OUT, Supply.DEAD), sending(OUT, OUT, Supply.LIVE)] * 2, "off, or the contact hangs"),
    (BOTH, [sending(IN, IN, Supply.LIVE), sending(OUT, OUT, Supply.DEAD)] * 2, "pyro switch: it is wired the wrong"),
    (BOTH, [sending(IN, IN, Supply.LIVE), sending(OUT, OUT, Supply.LIVE)] * 2, "pyro switch: it is bypassed"),
    (BOTH, [sending(IN, IN, Supply.WEAK), sending(OUT, OUT, Supply.LIVE)] * 2, "it leaks or hangs half open"),
    (BOARD, [sending(IN, IN, Supply.DEAD), silent(OUT)] * 2, "board switch: it is wired the wrong way round"),
    (BOARD, [sending(IN, IN, Supply.DEAD), sending(OUT, OUT, Supply.LIVE)] * 2, "board switch: it is bypassed"),
    (BOARD, [silent(IN), sending(OUT, IN, Supply.LIVE)] * 2, "wired the wrong way round"),
    (
        BOARD,
        [silent(IN), sending(OUT, OUT, Supply.LIVE), sending(IN, IN, Supply.DEAD), sending(OUT, OUT, Supply.LIVE)],
        "board switch: it hangs",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("the_pin", "states", "look"), NAMED)
def test_contradiction_names_the_likely_wiring_fault(the_pin: PullPin, states: list[State], look: str) -> None:
    assert any(look in point.look for point in points_of(states, the_pin) if point.outcome is ProofOutcome.FAILED)
