"""One text for one value, so that its hash says whether it is the same."""

from typing import Any

import rfc8785

from qc_app.refusal import Refusal


class NotCanonical(Refusal):
    """A value that has no canonical form."""


def canonical(value: Any) -> bytes:
    """JSON in canonical form after RFC 8785: keys in order, no spaces, numbers as ECMAScript writes them.

    ``value`` is made of dicts with text keys, lists, text, numbers, truth values and None.

    Raises
    ------
    NotCanonical
        If it holds anything else: NaN or an infinity, half of a surrogate pair, a whole number of 2^53 or
        more (RFC 7493, section 2.2, says to write such as text).
    """
    try:
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError) as error:
        raise NotCanonical("This has no canonical form: {why}.", why=error) from error
