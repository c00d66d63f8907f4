"""The set-up step by step: what hangs on what, and how far it has come."""

from __future__ import annotations

from rigging.order.words import SIGNS, step_parts
from rigging.report.blocks import Block, Section, Table, Words, cells
from rigging.survey.model import Survey


def order(survey: Survey) -> Section | None:
    """Every step with its state and why; None where there is no step."""
    setup = survey.setup
    if not setup.steps:
        return None
    rows = tuple(
        cells(
            f"{k}. {s.step.name}",
            f"{SIGNS[s.state]} {s.state}",
            "; ".join(step_parts(s)),
            ", ".join(s.step.after) or "-",
        )
        for k, s in enumerate(setup.steps, 1)
    )
    head = ("Step", "State", "Why", "Hangs on")
    blocks: list[Block] = [Table("Steps of the set-up", head, rows, frozenset(range(len(head))))]
    blocks += [Words(setup.words, "plain" if setup.next is None else "warning")] if setup.words else []
    where = "as the job states it" if setup.stated else "a usual one, since the job states none"
    blocks.append(
        Words(
            f"The order is {where}. Open again: something that the step hangs on was turned, or done, after the evidence "
            "came. The order changes no angle and no decision.",
            "note",
        )
    )
    return Section("order", "The set-up, step by step", tuple(blocks))
