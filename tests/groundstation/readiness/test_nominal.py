from groundstation.readiness.finding import Status, Verdict


def test_nominal_vehicle_passes_every_check_and_goes_after_settling(pad) -> None:
    told = pad(seconds=20.0).assessments()
    assert {f.status for f in told[-1].findings} == {Status.PASS}, [
        f.text for f in told[-1].findings if f.status is not Status.PASS
    ]
    assert told[-1].verdict is Verdict.GO
