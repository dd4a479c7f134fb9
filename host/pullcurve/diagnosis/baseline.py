"""Which earlier run may serve as the baseline of a later one."""

from typing import Final

from pullcurve.diagnosis.diagnose import diagnose
from pullcurve.errors import ReportError
from pullcurve.examine import Run, one_and_the_same
from pullcurve.rig.meter import POSITION_WORDS

_SAME_BLOWER: Final = 0.01  # between two displacements as they were typed


def check_baseline(run: Run, earlier: Run) -> None:
    """Raises ReportError where the earlier run is none by which this one could be judged: itself,
    of another blower or another place of the meter, or one that no state of a machine explains.
    """
    name, other = earlier.log.path, run.log.path
    if one_and_the_same(run, earlier):
        raise ReportError(
            f"{name} and {other} hold one and the same run, which cannot be its own baseline; name "
            "an earlier one, or leave --baseline out"
        )
    now, then = run.rig.machine.blower, earlier.rig.machine.blower
    turns = (now.displacement, then.displacement)
    apart = None not in turns and abs((turns[0] or 1) / (turns[1] or 1) - 1) > _SAME_BLOWER
    sheets = (now.rating, then.rating)
    if apart or (None not in sheets and sheets[0] != sheets[1]):
        raise ReportError(
            f"{name}: its rig names another blower than that of {other}; a baseline is an earlier "
            "run of the same machine"
        )
    place, then_place = run.rig.meter.position, earlier.rig.meter.position
    if place != then_place:
        raise ReportError(
            f"{name}: its meter stood {POSITION_WORDS[then_place]}, that of {other} "
            f"{POSITION_WORDS[place]}; a baseline is a sweep with the meter at the same "
            "place (pullcurve compare takes both)"
        )
    found = diagnose(earlier)
    if not isinstance(found, str) and found.verdict.vetoed_by:
        raise ReportError(
            f"{name}: there is no verdict on its machine, so it is no baseline: what it holds is "
            "a cut, or has a fault of its measurement or a wrong note, which its own report names; "
            "mend that, or name a sweep without spoil, of the machine in good order"
        )
