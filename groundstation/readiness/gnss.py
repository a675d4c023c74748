"""The check of the position: a fix that can be believed, at the pad."""

from groundstation.config.vehicle import PRACTICE, Place
from groundstation.estimation import position
from groundstation.readiness.check import Figure, Outcome, check, judged
from groundstation.readiness.finding import Limit, Status
from groundstation.readiness.window import Unknown, Window
from groundstation.readiness.words import allowed, number

NAMES = ("gnss_latitude", "gnss_longitude", "gnss_fix")
_FIGURES = (
    Figure("dilution of precision", f"at most {position.MOST_HDOP:g}", PRACTICE),
    Figure("satellites", f"at least {position.FEWEST_SATELLITES}", PRACTICE),
)
_LOOK = {
    position.FixProblem.NO_FIX: "Look at the sky above the vehicle and the receiver's aerial, and wait for it.",
    position.FixProblem.NOT_A_PLACE: "Look at the layout of the position's fields in the vehicle file.",
    position.FixProblem.DILUTION: "Look at what hides the sky from the receiver's aerial, and wait.",
}


@check(Place.AVIONICS, limits=("gnss_distance_m", "gnss_height_error_m"), figures=_FIGURES, every_s=2.0)
def gnss_position(window: Window) -> list[Outcome]:
    """The receiver has a fix that can be believed, near the pad's position and elevation in the station file.

    A vehicle that sends no position has no such finding; one that sends part of it is asked for the rest.
    """
    if not window.fixed("position sent", lambda w: any(map(w.in_layout, NAMES))):
        return []
    latitude, longitude, fix = map(window.need, NAMES)
    place = position.Place(latitude, longitude)
    satellites, hdop = (
        window.need(n) if window.in_layout(n) else float("nan") for n in ("gnss_satellites", "gnss_hdop")
    )
    problem = position.problem(position.Fix(0.0, place, fix, satellites, hdop), None)
    if problem is not None:
        seen = "" if satellites != satellites else f" ({number(satellites, 0)} satellites)"
        return [Outcome(Status.FAIL, f"The position cannot be believed: {problem}{seen}. {_LOOK[problem]}")]
    site = window.site
    if site.latitude_rad is None or site.longitude_rad is None:
        raise Unknown("The station file has no position of the pad to hold the vehicle's against. Enter it there.")
    distance_m = position.local(position.Place(site.latitude_rad, site.longitude_rad), place).ground_m
    limit = Limit(None, window.limits.gnss_distance_m)

    def good(value: float, decimals: int) -> str:
        return f"The position is {number(value, decimals)} m from the pad's, {allowed(limit, 0, 'm')}."

    def bad(value: float, decimals: int) -> str:
        return f"{good(value, decimals)} Look at the pad's position in the station file, then at the receiver's fix."

    outcome = judged(distance_m, limit, unit="m", decimals=0, good=good, bad=bad)
    return [_height(window) or outcome] if outcome.status is Status.PASS else [outcome]


def _height(window: Window) -> Outcome | None:
    """What is wrong with the height, if it is sent and the site's is known."""
    elevation_m = window.site.elevation_m
    if elevation_m is None or not window.in_layout("gnss_height"):
        return None
    off_m = window.need("gnss_height") - elevation_m
    most_m = window.limits.gnss_height_error_m
    if abs(off_m) <= most_m:
        return None
    text = (
        f"The position is {number(abs(off_m), 0)} m {'above' if off_m > 0 else 'below'} the pad's elevation, "
        f"at most {number(most_m, 0)} m allowed. Look at the elevation in the station file: above mean sea level."
    )
    return Outcome(Status.FAIL, text, round(off_m), "m", Limit(-most_m, most_m))
