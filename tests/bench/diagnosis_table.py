"""The diagnosis study's table: what was said beside what was so."""

from collections import Counter
from collections.abc import Callable, Iterable

import numpy as np

from diagnosis_outcome import Outcome
from pullcurve.diagnosis.priors import CAUSES

TWINS = (
    (frozenset({"worn_clearances"}), frozenset({"leak"})),
    (frozenset({"worn_clearances"}), frozenset({"slipping_belt"})),
)
WIDTH = 11
SHORT = {
    **{cause: cause for cause in CAUSES},
    "slipping_belt": "belt",
    "worn_clearances": "wear",
    "low_speed": "speed",
}


def name(causes: Iterable[str]) -> str:
    return "+".join(SHORT[cause] for cause in causes) or "healthy"


def print_table(outcomes: list[Outcome], *, wide: bool) -> None:
    judged = [o for o in outcomes if not o.trouble and not o.vetoed and not o.refused]
    print(f"{len(outcomes)} machines, {len(judged)} judged")
    for o in outcomes:
        if o.trouble or o.vetoed or o.refused:
            said = f"vetoed by {', '.join(o.vetoed)}" if o.vetoed else o.refused or o.result
            print(f"  {o.number}: {o.trouble or 'no trouble'}: {name(o.causes)}: {said}")
    _confusion(judged)
    _figures(judged, wide=wide)
    _coverage(judged)
    _by_evidence(judged)


def _confusion(outcomes: list[Outcome]) -> None:
    rows = [(), *((cause,) for cause in CAUSES)]
    columns = [name(row) for row in rows] + ["pair", "undecided"]
    print("\ntruth \\ verdict" + "".join(f"{column:>12}" for column in columns))
    for label in [*(name(row) for row in rows), "pair"]:
        own = [o for o in outcomes if _kind(o.causes) == label]
        said = Counter(_kind(o.label) if o.decided else "undecided" for o in own)
        print(f"{label:<15}" + "".join(f"{said[column]:>12}" for column in columns))


def _kind(causes: tuple[str, ...]) -> str:
    return "pair" if len(causes) > 1 else name(causes)


def _figures(outcomes: list[Outcome], *, wide: bool) -> None:
    healthy = [o for o in outcomes if not o.causes]
    singles = [o for o in outcomes if len(o.causes) == 1]
    told = [o for o in singles if not o.told_from]
    twins = [o for o in singles if o.told_from and "healthy" not in o.told_from]
    hidden = [o for o in singles if "healthy" in o.told_from]
    pairs = [o for o in outcomes if len(o.causes) == 2]
    undecided = [o for o in outcomes if not o.decided]
    print(f"\n{'%':<52}{'n':>5}{'ours':>8}  wanted")
    wanted = ("75", "75", "2") if wide else ("85", "93", "1")
    _line("healthy: condemned", healthy, lambda o: bool(o.label), "1 at most")
    _line("healthy: called healthy", healthy, lambda o: o.result == "right", f"{wanted[0]} or more")
    _line("single that can be told: right", told, _right, f"{wanted[1]} or more")
    _line("  wrong", told, _wrong, f"{wanted[2]} at most")
    _line("  called healthy", told, lambda o: o.result == "healthy", "")
    _line("twins: within", twins, _within, "80 or more")
    _line("  wrong", twins, _wrong, "3 at most")
    with_reading = [o for o in twins if not o.decided]
    _line("  undecided: a reading is named, right", with_reading, lambda o: o.deciding_right, "")
    _line("single hidden in healthy scatter: false cause", hidden, lambda o: o.false_cause, "")
    _line("  called healthy", hidden, lambda o: o.result == "healthy", "")
    told_pairs = [o for o in pairs if not o.told_from]
    _line("pairs that can be told: both right", told_pairs, _right, "55 or more")
    _line("all pairs: both right", pairs, _right, "")
    _line("  one right, nothing false", pairs, lambda o: o.result == "partly", "")
    _line("a false cause stated", outcomes, lambda o: o.false_cause, "2 at most")
    _line("undecided", outcomes, lambda o: not o.decided, "40 at most")
    _line(
        "  truth among the candidates", undecided, lambda o: o.causes in o.candidates, "95 or more"
    )
    lengths = [len(o.candidates) for o in undecided]
    print(f"  candidates of an undecided verdict, mean {np.mean(lengths or [0]):.1f}")
    places = [o.place for o in outcomes if o.place]
    right = sum(true == said for true, said in places)
    print(f"  place of a leak right {right} of {len(places)}: {dict(Counter(places))}")
    widths = np.array([o.half_width for o in outcomes])
    print(
        f"  half-width of the shortfall, % of the flow: median {100 * np.nanmedian(widths):.2f}, "
        f"nine of ten under {100 * np.nanpercentile(widths, 90):.2f}"
    )
    seconds = np.array([o.seconds for o in outcomes])
    print(
        f"  processor time of a verdict: median {np.nanmedian(seconds):.2f} s, "
        f"longest {np.nanmax(seconds):.2f} s"
    )
    _calibration(outcomes)


def _calibration(outcomes: list[Outcome]) -> None:
    stated, so = [], []
    for o in outcomes:
        for causes, p in o.probabilities.items():
            stated.append(p)
            so.append(causes == o.causes)
    p, true = np.array(stated), np.array(so)
    print("  stated probability of an answer, and how often it was so:")
    for low, high in ((0.02, 0.2), (0.2, 0.5), (0.5, 0.8), (0.8, 0.95), (0.95, 1.01)):
        inside = (p >= low) & (p < high)
        if inside.any():
            print(f"    {p[inside].mean():.2f}: {true[inside].mean():.2f} of {inside.sum()}")


def _coverage(outcomes: list[Outcome]) -> None:
    print("\ninside their 95 % intervals, %            n    own slip   sheet's slip is healthy")
    _shares("size", [o.sizes for o in outcomes], "92 or more")
    by_sheet = [o.by_sheet for o in outcomes]
    _shares("step", [o.steps for o in outcomes], "93 to 99", by_sheet)


def _shares(
    kind: str,
    lists: list[list[tuple[str, bool]]],
    wanted: str,
    others: list[list[tuple[str, bool]]] | None = None,
) -> None:
    flat = [item for each in lists for item in each]
    other = [item for each in others or [] for item in each]
    for key in ["all", *dict.fromkeys(label for label, _ in flat)]:
        own = [ok for label, ok in flat if key in ("all", label)]
        sheet = [ok for label, ok in other if key in ("all", label)]
        second = f"{100 * np.mean(sheet):>14.1f}" if sheet else ""
        if own:
            said = wanted if key == "all" else ""
            print(
                f"  {f'{kind}: {key}':<34}{len(own):>6}{100 * np.mean(own):>10.1f}{second}  {said}"
            )


def _by_evidence(outcomes: list[Outcome]) -> None:
    heads = ("right", "healthy", "false", "undecided", "truth in", "sizes", "steps")
    print(f"\n{'by evidence, %':<26}{'n':>5}" + "".join(f"{head:>{WIDTH}}" for head in heads))
    groups = dict.fromkeys(group for o in outcomes for group in o.groups)
    for group in sorted(groups):
        own = [o for o in outcomes if group in o.groups]
        undecided = [o for o in own if not o.decided]
        figures = (
            _share(own, _right),
            _share(own, lambda o: o.result == "healthy"),
            _share(own, lambda o: o.false_cause),
            _share(own, lambda o: not o.decided),
            _share(undecided, _listed),
            100 * np.mean([ok for o in own for _, ok in o.sizes] or [np.nan]),
            100 * np.mean([ok for o in own for _, ok in o.steps] or [np.nan]),
        )
        values = "".join(f"{figure:>{WIDTH}.0f}" for figure in figures)
        print(f"{group:<26}{len(own):>5}{values}")


def _right(o: Outcome) -> bool:
    return o.result == "right"


def _listed(o: Outcome) -> bool:
    return o.causes in o.candidates


def _wrong(o: Outcome) -> bool:
    """Another cause than the true one stated, or decided for it."""
    return o.false_cause


def _within(o: Outcome) -> bool:
    """The cause itself, or nothing but it and what error-free readings leave open too."""
    if o.decided:
        return o.result == "right"
    allowed = {*o.causes, *o.told_from}
    return o.causes in o.candidates and all(set(c) <= allowed for c in o.candidates)


def _line(
    label: str, outcomes: list[Outcome], is_so: Callable[[Outcome], bool], wanted: str
) -> None:
    print(f"  {label:<50}{len(outcomes):>5}{_share(outcomes, is_so):>8.1f}  {wanted}")


def _share(outcomes: list[Outcome], is_so: Callable[[Outcome], bool]) -> float:
    return 100 * float(np.mean([is_so(o) for o in outcomes])) if outcomes else np.nan
