"""What stands against a verdict, in words: which reading contradicts which. Light, as
`sentences`."""

from pullcurve.diagnosis.result import RunDiagnosis, SpeedsAtOdds
from pullcurve.report.next_steps import veto_words
from pullcurve.rounding import NO_BREAK


def veto_reasons(said: RunDiagnosis) -> str:
    """All that stands against it."""
    return "; and ".join(_reason(said, kind) for kind in said.vetoed_by)


def _reason(said: RunDiagnosis, kind: str) -> str:
    odds = said.speeds_at_odds
    if odds is not None and kind == odds.kind:
        return _against_rated(odds) if kind == "rated_speed" else _against_belt(odds)
    words = veto_words(kind)
    return f"{words}: {' and '.join(said.doubted)}" if kind == "typed_reading" else words


def _against_belt(odds: SpeedsAtOdds) -> str:
    """The engine's speed against that of the blower."""
    by = f"as it was typed, {odds.engine_typed}," if odds.engine_typed else "by its pickup"
    return (
        f"the engine's speed {by} contradicts the blower's pickup and the belt ratio, by which "
        f"{_rpm(odds.blower_rpm)} of the blower over {odds.belt_ratio:g} are "
        f"{_rpm((odds.blower_rpm or 0.0) / (odds.belt_ratio or 1.0))} of the engine or, where the "
        "belt slips, more"
        + ("" if odds.engine_typed else f", and it gives {_rpm(odds.engine_rpm)}")
        + _rated_engine(odds)
    )


def _rated_engine(odds: SpeedsAtOdds) -> str:
    return "" if odds.rated_engine_rpm is None else f"; it is rated {_rpm(odds.rated_engine_rpm)}"


def _against_rated(odds: SpeedsAtOdds) -> str:
    """What was measured against the rated speed."""
    measured = [
        f"the {name} turned at {_rpm(speed)} where the rig rates it {_rpm(rated)}"
        for name, speed, rated in (
            ("blower", odds.blower_rpm, odds.rated_blower_rpm),
            ("engine", odds.engine_rpm, odds.rated_engine_rpm),
        )
        if speed is not None and rated is not None
    ]
    typed = f" (typed: {odds.engine_typed})" if odds.engine_typed else ""
    return (
        f"the rig's speeds or marks contradict what was measured: {' and '.join(measured)}{typed}"
    )


def _rpm(speed: float | None) -> str:
    return f"{speed or 0.0:.0f}{NO_BREAK}rpm"
