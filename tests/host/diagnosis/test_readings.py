"""Which readings are proposed."""

from dataclasses import replace

from machines_of_the_bench import Truth, evidence

from pullcurve.diagnosis import readings
from pullcurve.diagnosis.causes import posterior
from pullcurve.diagnosis.evidence import Evidence
from pullcurve.diagnosis.priors import priors


def test_no_plate_is_proposed_that_takes_the_blower_beyond_its_limits() -> None:
    """25 velocity heads on a port of a third of the area are 225 on the whole.

    By hand, at 46 m/s (58 m/s less a fifth of slip) and 287 J/(kg K) x 285 K:
    p1 = p0 / sqrt(1 + 0.026 x 225), a ratio of 2.6.
    """
    usual = evidence(Truth())
    believed = posterior(usual, priors())
    narrow = replace(usual.facts, port_area_m2=usual.facts.port_area_m2 / 3)

    def proposed(of: Evidence) -> dict[str, float]:
        found = readings._predictions(of, believed)
        return {name: float(values.mean()) for name, _, values, _ in found}

    at_ease, overloaded = proposed(usual), proposed(replace(usual, facts=narrow))
    assert "plate_sweep" in at_ease
    assert "plate_sweep" not in overloaded
    # The discharge temperature is then foreseen without the plate: less heat.
    top = float(believed.state.discharge_rise[:, usual.top].mean())
    assert overloaded["discharge_temperature"] == top < at_ease["discharge_temperature"]
