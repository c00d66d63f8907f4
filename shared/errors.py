"""The one exception a caller's mistake raises: it names the thing, the rule and the remedy in one line."""

from __future__ import annotations


class UserError(Exception):
    """A mistake the user can mend.

    Parameters
    ----------
    thing : what is wrong, named as the user knows it (a file, a key, a station).
    rule : the rule it breaks.
    remedy : what to do about it.
    """

    def __init__(self, thing: str, rule: str, remedy: str) -> None:
        self.thing, self.rule, self.remedy = thing, rule, remedy
        super().__init__(" ".join(f"{thing}: {rule}; {remedy}".split()))
