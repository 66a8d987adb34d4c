"""The roles of a test: who signs a record, whose signature is awaited, who approves a plan."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

# As they stand in signed records.
SIGNERS = ("technician", "engineer", "witness", "contractor", "controls")
# Each of these is awaited where the plan names somebody for it.
AWAITED = SIGNERS[:3]
APPROVERS = ("owner", "engineer", "controls contractor", "operator")
# Whose signed approval a plan needs where the firm's procedure names nobody: whose plant it is, and
# who answers for the test (common practice, no source).
LEAST_APPROVERS = APPROVERS[:2]


def must_approve(answers: Mapping[str, Any]) -> tuple[str, ...]:
    """The roles whose signed approval the firm's procedure asks for; none where it names none."""
    firm = answers.get("procedure")
    asked = firm.get("approvers") if isinstance(firm, Mapping) else None
    return tuple(map(str, asked)) if isinstance(asked, list) else ()


def approvers(answers: Mapping[str, Any]) -> tuple[str, ...]:
    """The roles to offer for an approval: the firm's own first, then the usual ones."""
    return tuple(dict.fromkeys((*must_approve(answers), *APPROVERS)))
