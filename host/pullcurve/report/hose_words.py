"""What another hose would give, in words."""

from pullcurve.diagnosis.other_hose import OtherHose
from pullcurve.quantities import DisplayUnit, UnitSystem
from pullcurve.rounding import significant


def other_hose_text(name: str, said: str, found: OtherHose, units: UnitSystem) -> str:
    """The answer to 'what would I have with that hose?', ending in a newline."""

    def band(values: tuple[float, float, float], unit: DisplayUnit) -> str:
        middle, low, high = (significant(unit.from_si(value), 3) for value in values)
        return f"{middle} {unit.label} ({low} to {high})"

    lines = [
        name,
        "",
        f"With a hose of {said.replace(' of ', ', ')}, its end open, this machine in good order",
        f"would at {found.speed_rpm:.0f} rpm of the blower draw",
        f"  {band(found.flow_hose_m3_s, units.volume_flow)} of open air at the hose's end,",
        f"  running there at {band(found.velocity_m_s, units.velocity)};",
        f"  {band(found.flow_inlet_m3_s, units.volume_flow)} at the blower's inlet, at a vacuum of "
        f"{band(found.vacuum_inlet_pa, units.vacuum)}.",
        "",
        "In brackets: with the losses of hose, port, filter and pipes all less than usual by one",
        "standard deviation, and all more. No spoil, no leak, no wear: a run of the machine says",
        "what is true of it.",
    ]
    if found.choked:
        lines.append("The air reaches the speed of sound on its way: more vacuum brings no more.")
    if found.relieved:
        lines.append("The relief valve opens before that vacuum: less comes through the hose.")
    if found.too_deep:
        lines.append(
            "That is more vacuum than blowers without cooling stand: it runs hot. Do not try it."
        )
    return "\n".join(lines) + "\n"
