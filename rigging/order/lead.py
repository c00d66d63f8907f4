"""The order put together: steps, their states, and what comes next."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from rigging.order.happened import Happened
from rigging.order.state import Found, SetUp, states
from rigging.order.usual import steps_of_job
from rigging.order.words import next_words
from rigging.survey.bonding import BondingWindow
from shared.job.model import Job


def set_up(job: Job, found: Mapping[str, Found], happened: Happened, glue: BondingWindow | None) -> SetUp:
    """How far the job's set-up has come. found : what the evidence says of each check."""
    setup = SetUp(states(steps_of_job(job), found, happened), bool(job.steps))
    return replace(setup, words=next_words(setup, glue))
