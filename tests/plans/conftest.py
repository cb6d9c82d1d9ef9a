"""Plans of known grounds, shared by all modules of this folder."""

from pathlib import Path

import pytest

from tests.plans.grounds import PlanGround, Planned, plan_of


@pytest.fixture(scope="session")
def plan_ground(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> PlanGround:
    """Planned ground by its name."""
    base = tmp_path_factory.getbasetemp()
    # Workers have a folder each below that of the run.
    folder = (base if worker_id == "master" else base.parent) / "planned"
    made: dict[str, Planned] = {}

    def of(name: str) -> Planned:
        if name not in made:
            made[name] = plan_of(Path(folder), name)
        return made[name]

    return of
