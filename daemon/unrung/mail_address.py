"""Mail addresses as the settings may hold them: one each, and such as every server takes."""

from __future__ import annotations

from email.errors import MessageError
from email.headerregistry import Address
from email.utils import getaddresses
from typing import Annotated

from pydantic import AfterValidator


def one_address(text: str) -> str:
    """``text`` where it is one mail address, with or without a name before it. Raises ValueError.

    >>> one_address("Manager <manager@example.org>")
    'Manager <manager@example.org>'
    >>> one_address("ann@example.org, bob@example.org")
    Traceback (most recent call last):
    ...
    ValueError: these are several addresses; put each into quotation marks of its own, and commas between
    """
    found = [spec for _, spec in getaddresses([text]) if spec]  # none of several: newer Pythons are strict
    if len(found) != 1 and text.count("@") > 1 and "@@" not in text and any(mark in text for mark in ",;"):
        raise ValueError("these are several addresses; put each into quotation marks of its own, and commas "
                         "between")
    local, at, domain = found[0].rpartition("@") if len(found) == 1 and text.isprintable() else ("", "", "")
    try:
        if not (local and at and domain):
            raise ValueError
        if found[0].isascii():
            Address(addr_spec=found[0])
            return text
    except (ValueError, MessageError, IndexError):
        raise ValueError("this is no mail address; write one such as name@example.org") from None
    raise ValueError("only letters without accents and marks can be taken on both sides of the @; a domain "
                     "with others has a spelling that begins with xn--")


def address_or_none(text: str) -> str:
    """The same where something is set."""
    return one_address(text) if text.strip() else ""


MailAddress = Annotated[str, AfterValidator(one_address)]
MailAddressOrNone = Annotated[str, AfterValidator(address_or_none)]
