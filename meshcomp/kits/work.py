"""What a worker calls: quick to import, since each worker begins with it."""

from __future__ import annotations

from meshcomp.kits.store import remember, tidy
from meshcomp.kits.tasks import Job, Survey
from meshcomp.mechanisms import PartOutcome

__all__ = ["get_ready", "look_at_part", "make_part"]


def get_ready() -> None:
    """Load in a worker what its first part will need."""
    import meshcomp.kits.jobs  # noqa: F401


def make_part(task: tuple[Job, str]) -> PartOutcome:
    """Make a part in a worker and write down that it is made."""
    # Imported there: who only hands out the work needs no geometry.
    from meshcomp.kits.jobs import do

    job, key = task
    tidy(job)
    outcome = do(job)
    if outcome.error is None:
        remember(job, key, outcome)
    return outcome


def look_at_part(task: tuple[Job, str]) -> Survey:
    """Look in a worker at what a part has and write it down."""
    from meshcomp.kits.jobs import survey

    job, key = task
    seen = survey(job)
    if seen.error is None:
        remember(job, key, seen)
    return seen
