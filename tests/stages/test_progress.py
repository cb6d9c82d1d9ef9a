"""Events of the stages."""

import pytest

from soakline.stages.progress import Event, Progress


@pytest.fixture
def told() -> list[Event]:
    return []


@pytest.fixture
def progress(told) -> Progress:
    return Progress((told.append,))


def test_a_stage_starts_advances_and_finishes(progress, told):
    with progress.stage("terrain", 100) as stage:
        stage.advanced(0.25)
        progress.advanced(0.5)
    assert [(e.kind, e.stage, e.cells, e.fraction) for e in told] == [
        ("started", "terrain", 100, 0.0),
        ("advanced", "terrain", 100, 0.25),
        ("advanced", "terrain", 100, 0.5),
        ("finished", "terrain", 100, 1.0),
    ]
    assert told[-1].seconds == pytest.approx(progress.timings_s["terrain"], abs=0.05)


def test_a_stage_may_report_as_often_as_it_likes_without_flooding(progress, told):
    with progress.stage("terrain") as stage:
        for step in range(100_001):
            stage.advanced(step / 100_000)
    assert len(told) <= 103


def test_a_stage_never_goes_back_nor_over_the_end(progress, told):
    with progress.stage("terrain") as stage:
        for fraction in (0.5, 0.2, 7.0, 1.0):
            stage.advanced(fraction)
    assert [e.fraction for e in told if e.kind == "advanced"] == [0.5, 1.0]


def test_a_stage_that_fails_is_never_told_as_finished(progress, told):
    with pytest.raises(ValueError, match="no"), progress.stage("terrain"):
        raise ValueError("no")
    assert [e.kind for e in told] == ["started"]
    assert "terrain" not in progress.timings_s
    progress.message("info", "after")
    assert told[-1].stage == ""


def test_a_message_belongs_to_the_innermost_stage(progress, told):
    with progress.stage("outer", 1), progress.stage("inner", 2):
        progress.message("caution", "look")
    message = next(e for e in told if e.kind == "message")
    assert (message.stage, message.cells, message.text) == ("inner", 2, "look")


def test_a_stage_that_runs_twice_has_its_times_added(progress):
    for _ in range(2):
        with progress.stage("cascade"):
            pass
    assert list(progress.timings_s) == ["cascade"]


def test_nobody_listening_is_no_error():
    with Progress().stage("terrain") as stage:
        stage.advanced(0.5)
