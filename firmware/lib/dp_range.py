"""Two ends of a range, as a person wrote them into board.json."""


def _in_order(pair, least, greatest):
    if not isinstance(pair, (list, tuple)):
        return False
    try:
        low, high = pair
        return least <= float(low) < float(high) <= greatest
    except (TypeError, ValueError):
        return False


def two_ends(options, key, least, greatest, default=None):
    """The two ends under key as DECIMAL fields, the lower one first.

    Numbers or text: text keeps every digit on a board with 32-bit floats. Both ends lie
    within least and greatest. Raises ValueError with a sentence for the person.
    """
    pair = options.get(key, default)
    if not _in_order(pair, least, greatest):
        raise ValueError(
            "%s must be two numbers from %d to %d, the lower one first, not %s"
            % (key, least, greatest, pair)
        )
    low, high = pair
    return str(low).strip(), str(high).strip()
