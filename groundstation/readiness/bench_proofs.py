"""The check of the bench proofs: those the vehicle file asks for are made, passed, fresh, and of this vehicle."""

from groundstation.bench.configuration import configuration
from groundstation.bench.events import kept_in
from groundstation.bench.register import TESTS
from groundstation.bench.standing import DAY_S, Holds, Standing, standing
from groundstation.config.bench_plan import AskedProof
from groundstation.config.vehicle import Place
from groundstation.inputs import EventKind
from groundstation.readiness.check import Figure, Outcome, check
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import number

_FIGURES = (Figure("proofs asked for, and how long each holds", "[[bench.proof]] name and fresh", "vehicle file"),)
_SAID = {
    Holds.NEVER: "was never made",
    Holds.OTHER: "was made of another configuration",
    Holds.CANNOT_TELL: "could not tell",
    Holds.FAILED: "failed",
    Holds.AHEAD: "is dated in the future",
}


@check(Place.VEHICLE, figures=_FIGURES, every_s=30.0)
def bench_proofs(window: Window) -> list[Outcome]:
    """Each bench proof that the vehicle file asks for has passed, of this configuration, and is fresh.

    A vehicle file that asks for none has no such finding. What is known of proofs is what the station told when the
    session began.
    """
    asked = window.vehicle.bench.proofs if window.vehicle.bench is not None else ()
    if not asked:
        return []
    if window.station_event(EventKind.BENCH_FILE) is None:
        raise Unknown("The station has not said which bench proofs there are. Look at it: begin a new session.")
    stand = [(proof, _standing(window, proof)) for proof in asked]
    wrong = [pair for pair in stand if pair[1].holds is not Holds.FRESH]
    if not wrong:
        oldest = max(one.age_s for _, one in stand) / DAY_S
        text = f"All bench proofs asked for are fresh ({len(stand)}), the oldest {number(oldest, 0)} days."
        return [Outcome(Status.PASS, text, round(oldest), "days")]
    proof, first = wrong[0]
    age, limit = first.age_s / DAY_S, Limit(None, proof.fresh_s / DAY_S)
    said = _SAID.get(first.holds, f"is {number(age, 1)} days old, {number(limit.greatest or 0.0, 1)} days allowed")
    others = f" So too: {', '.join(one.name for _, one in wrong[1:])}." if wrong[1:] else ""
    look = f"Look at the bench: run groundstation bench … {first.name}, then begin a new session here."
    text = f"The bench proof {first.name} {said}. {look}{others}"
    return [Outcome(Status.FAIL, text, round(age, 1), "days", limit, place=TESTS[first.name].place)]


def _standing(window: Window, proof: AskedProof) -> Standing:
    key = ("bench configuration", proof.name)
    mark = window.fixed(key, lambda w: configuration(w.vehicle, TESTS[proof.name]))
    kept = window.once("bench proofs", lambda w: kept_in(w.station_events(EventKind.BENCH_PROOF)))
    return standing(kept, proof.name, configuration=mark, fresh_s=proof.fresh_s, now_ns=window.at_ns)
