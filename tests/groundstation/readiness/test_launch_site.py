import math

import pytest

from groundstation.readiness.codes import least_distance
from groundstation.readiness.finding import Status

PASS, FAIL, UNKNOWN = Status.PASS, Status.FAIL, Status.UNKNOWN
FOOT_M = 0.3048


def at_site(**update):
    def made(pad):
        pad.site = pad.site.model_copy(update=update)
        return pad

    return made


def weak_motor(pad):
    pad.vehicle["motor"] = {"propellant_mass": "58 g", "average_thrust": "25 N", "burn_time": "4 s"}
    return pad


SITE_FAULTS = [
    ("windy", at_site(wind_mps=9.5), "wind", "at most 8.9 m/s allowed; local rules decide"),
    ("rod leans", at_site(rod_tilt_rad=math.radians(35.0)), "rod_tilt", "leans 35 deg, at most 30 deg allowed"),
    ("people near", at_site(people_distance_m=6.0), "people_distance", "at least 9 m for class G"),
    ("weak motor", weak_motor, "thrust_to_weight", "2.7 times the weight, at least 3.0 allowed"),
]


def test_wind_not_entered_is_unknown_and_a_rod_not_measured_is_no_finding(pad) -> None:
    finding = at_site(wind_mps=None)(pad()).finding("wind")
    assert finding.status is UNKNOWN
    assert "Enter it there" in finding.text
    assert pad().findings("rod_tilt") == ()
    assert at_site(rod_tilt_rad=math.radians(5.0))(pad()).finding("rod_tilt").status is PASS


# National Association of Rocketry, Model Rocket Safety Code (2018), section 4: 15 ft to class D, 30 ft for larger;
# High Power Rocket Safety Code (2012), minimum distance table, single motors.
@pytest.mark.parametrize(
    ("impulse_ns", "feet"),
    [
        (2.5, 15),
        (20.0, 15),
        (20.01, 30),
        (110.0, 30),
        (160.0, 30),
        (160.01, 100),
        (1280.0, 100),
        (1280.01, 200),
        (5120.0, 300),
        (10240.0, 500),
        (20480.0, 1000),
        (40960.0, 1500),
    ],
)
def test_least_distance_is_the_published_one(impulse_ns, feet) -> None:
    distance = least_distance(impulse_ns, 30.0, 0.9, 0.05)
    assert distance is not None
    assert distance.metres == pytest.approx(feet * FOOT_M, abs=1e-9)


@pytest.mark.parametrize(("thrust_n", "mass_kg", "propellant_kg"), [(81, 1, 0.06), (30, 1.6, 0.06), (30, 1, 0.126)])
def test_more_thrust_mass_or_propellant_makes_it_high_power(thrust_n, mass_kg, propellant_kg) -> None:
    distance = least_distance(110.0, thrust_n, mass_kg, propellant_kg)
    assert distance is not None
    assert distance.metres == pytest.approx(100 * FOOT_M, abs=1e-9)


def test_motor_beyond_the_table_has_no_published_distance(pad) -> None:
    assert least_distance(40960.01, 5000.0, 100.0, 30.0) is None
    p = pad()
    p.vehicle["motor"] = {"propellant_mass": "58 g", "average_thrust": "20000 N", "burn_time": "4 s"}
    assert p.finding("people_distance").status is UNKNOWN


def test_distance_not_entered_is_told_with_its_code(pad) -> None:
    finding = pad().finding("people_distance")
    assert finding.status is PASS
    assert finding.text == (
        "People are to stand at least 9 m for class G by the model rocket safety code (NAR, 2018); "
        "the station file does not say how far they do; local rules decide."
    )
    assert finding.limit.least == pytest.approx(9.144, abs=1e-9)
