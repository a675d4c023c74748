"""The count's plan from the vehicle file, or from the station file instead."""

import pytest

from groundstation.config.count_plan import CountPlan, plan_of_day
from groundstation.config.errors import ConfigError
from groundstation.config.load import EXAMPLE_STATION, EXAMPLE_VEHICLE, load_vehicle, parse_station
from groundstation.count_limits import PointLimits
from groundstation.inputs import NS_PER_S
from groundstation.pipeline import Pipeline

VEHICLE = load_vehicle(EXAMPLE_VEHICLE)
SITE = EXAMPLE_STATION.read_text(encoding="utf-8")
COUNT = """
[count]
start = "4 min"
window = "30 min"
holds = [
  { at = "3 min", text = "wait for the range's clock" },
  { at = "1 min", text = "everyone back" },
]
"""


def plan(text: str = COUNT) -> CountPlan:
    found = parse_station(SITE + text, file_name="site.toml").count
    assert found is not None
    return found


def refused(text: str) -> list[tuple[int | None, str, str]]:
    with pytest.raises(ConfigError) as told:
        parse_station(SITE + text, file_name="site.toml")
    assert "site.toml" in str(told.value)
    before = SITE.count("\n")
    return [(None if f.line is None else f.line - before, f.key, f.text) for f in told.value.faults]


def test_station_without_a_count_leaves_the_vehicles() -> None:
    assert parse_station(SITE, file_name="site.toml").count is None
    assert plan_of_day(VEHICLE.count, None) == VEHICLE.count
    assert plan_of_day(None, None) is None


def test_stations_count_is_kept_instead_of_the_vehicles() -> None:
    pipeline = Pipeline(VEHICLE, parse_station(SITE, file_name="site.toml").site, started_ns=0, count=plan())
    kept = pipeline.timeline.count_plan
    assert kept is not None
    assert (kept.start_s, kept.window_s) == (240.0, 1800.0)
    assert [(hold.at_s, hold.text) for hold in kept.holds] == [
        (180.0, "wait for the range's clock"),
        (60.0, "everyone back"),
    ]
    assert pipeline.timeline.counts[-1].to_go_ns == 240 * NS_PER_S


def test_vehicles_points_stay_where_the_station_gives_none() -> None:
    assert VEHICLE.count is not None
    kept = plan_of_day(VEHICLE.count, plan())
    assert kept is not None
    assert kept.points == VEHICLE.count.points != ()
    short = plan_of_day(VEHICLE.count, plan('\n[count]\nstart = "1 min"\nwindow = "5 min"\n'))
    assert short is not None
    assert short.points == ()  # a point before the count's start is none of it
    assert plan_of_day(None, plan()) == plan()


def test_stations_points_change_the_limits() -> None:
    kept = plan_of_day(VEHICLE.count, plan(COUNT + '[[count.point]]\nfrom = "30 s"\ntilt = "5 deg"\n'))
    limits = PointLimits(VEHICLE, kept)
    assert limits.vehicle(31 * NS_PER_S).limits == VEHICLE.limits
    assert limits.vehicle(30 * NS_PER_S).limits.tilt_rad < VEHICLE.limits.tilt_rad


@pytest.mark.parametrize(
    ("old", "new", "line", "key", "said"),
    [
        ('start = "4 min"', "start = 4", 3, "count.start", "expected"),
        ('start = "4 min"', 'begin = "4 min"', 3, "count.begin", "expected one of"),
        ('window = "30 min"', 'window = "3 min"', 4, "count.window", "expected at least the count's 240 s"),
        ('at = "3 min"', 'at = "5 min"', 6, "count.holds[0].at", "expected less than the start, 240 s"),
        ('at = "1 min"', 'at = "3 min"', 7, "count.holds[1].at", "a second time"),
        ('text = "everyone back"', "text = 5", 7, "count.holds[1].text", "expected"),
    ],
)
def test_faults_are_named_by_line_and_key(old: str, new: str, line: int, key: str, said: str) -> None:
    assert COUNT.count(old) == 1
    faults = refused(COUNT.replace(old, new))
    assert any(f[:2] == (line, key) and said in f[2] for f in faults), faults
