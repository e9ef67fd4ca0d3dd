"""The address that somebody means on the command line: by its id, or by its label."""

from __future__ import annotations

from difflib import get_close_matches

from preplan.errors import Finding, InputError
from preplan.inputs.addressing import same_words
from preplan.plan_inputs import Rejected
from preplan.records import AddressTable

_LEAST_WORDS = 2
"""So many words of several must be in a label that is offered."""
_MOST_NAMED = 4
"""Most addresses that are offered."""


def asked_address(addresses: AddressTable, rejected: tuple[Rejected, ...], said: str) -> str:
    """Give the id of the address that is meant: the one with that id, else the only one with that label.

    A label may have its words shortened, as 'Rd' for 'Road'.

    Raises
    ------
    InputError
        Where there is none: with what is wrong with its row, or with the addresses that come near.
    """
    ids = addresses.address_id.tolist()
    if said in ids:
        return said
    faults = [fault.finding for fault in rejected if fault.id == said]
    if faults:
        raise InputError(faults)
    labels = [_plain(label) for label in addresses.label.tolist()]
    for meant in (
        [one for one in ids if _plain(one) == _plain(said)],
        [one for one, label in zip(ids, labels, strict=True) if label == _plain(said)],
        [one for one, label in zip(ids, labels, strict=True) if same_words(label, said)],
    ):
        if len(meant) == 1:
            return str(meant[0])
    near = _near(ids, labels, said)
    named = [f"{ids[at]} ({addresses.label[at]})" if addresses.label[at] else ids[at] for at in near[:_MOST_NAMED]]
    more = f", or another of {len(near) - _MOST_NAMED} more" * (len(near) > _MOST_NAMED)
    remedy = f"did you mean {' or '.join(named)}{more}?" if named else "see the column address_id of your table"
    rule = "is no address_id that is planned, nor the label of one address"
    raise InputError([Finding(file="addresses", column="address_id", value=said, rule=rule, remedy=remedy)])


def _near(ids: list[str], labels: list[str], said: str) -> list[int]:
    """List the rows whose labels have most of the words that were said, two or all; else those whose id comes near."""
    words = set(_plain(said).split())
    shared = [len(words & set(label.split())) for label in labels]
    most = max(shared, default=0)
    if most >= min(_LEAST_WORDS, max(len(words), 1)):
        number = {word for word in words if word[:1].isdigit()}
        found = [at for at, count in enumerate(shared) if count == most]
        return sorted(found, key=lambda at: not number & set(labels[at].split()))
    folded = {one.casefold(): at for at, one in enumerate(ids)}
    return [folded[one] for one in get_close_matches(said.casefold(), list(folded), n=3)]


def _plain(text: str) -> str:
    """Write a text without commas, capitals and doubled blanks.

    >>> _plain("565  Gristmill Rd, rear")
    '565 gristmill rd rear'
    """
    return " ".join(text.replace(",", " ").casefold().split())
