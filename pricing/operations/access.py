"""Who may do what, when people sign in: plain rules about names and roles."""

from collections.abc import Mapping, Sequence
from typing import Final

ROLES: Final[dict[str, frozenset[str]]] = {
    "read": frozenset({"read"}),
    "load": frozenset({"read", "load"}),
    "appraise": frozenset({"read", "appraise"}),
    "manage": frozenset({"read", "load", "appraise", "manage"}),
}
"""What each role may do. Read: price cars and inspect them. Load: bring records in, correct them, take loads
back, fit. Appraise: keep choices of evidence and appraisals. Manage: all of it, and the settings."""

EVERYONE: Final = "everyone"
"""Stands for whoever has signed in and is not named."""


def allowed(
    person: str | None, act: str, roles: Mapping[str, Sequence[str]], managers: Sequence[str]
) -> bool:
    """Whether a person may do something.

    ``person`` is the address that signed in, capitals aside; ``None`` where nobody signs in, and then
    everything
    is allowed. ``managers`` were named when the dashboard was started: nobody can be locked out of their own
    market. A person without a role has those of ``EVERYONE``, and none where none are given.

    >>> roles = {"ann@mill.invalid": ["load"], "everyone": ["read"]}
    >>> allowed("Ann@mill.invalid", "load", roles, []), allowed("bob@mill.invalid", "load", roles, [])
    (True, False)
    >>> allowed("bob@mill.invalid", "read", roles, []), allowed("bob@mill.invalid", "read", {}, [])
    (True, False)
    >>> allowed(None, "manage", {}, []), allowed("bob@mill.invalid", "manage", {}, ["Bob@mill.invalid"])
    (True, True)
    """
    if person is None:
        return True
    named = {name.casefold(): held for name, held in roles.items()}
    own = person.casefold()
    if own in {manager.casefold() for manager in managers}:
        return True
    held = named.get(own, named.get(EVERYONE, ()))
    return any(act in ROLES[role] for role in held if role in ROLES)
