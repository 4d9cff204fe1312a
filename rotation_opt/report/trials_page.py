"""Published weed trials beside what the model makes of them."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence

from rotation_opt.records import Weed
from rotation_opt.report.blocks import Block, Entries, Entry, Grid, Page, Paragraph, Section
from rotation_opt.report.sources_page import BASIS, NOT_PUBLISHED, citation
from rotation_opt.report.wording import capital
from rotation_opt.tables import Tables, Trial
from rotation_opt.trials import CLOSE, Match, TrialResult, at_the_edge, score

WHAT_IT_IS = (
    "Each row is something that was done to a weed in a published trial, run here through the model in the "
    "mean weather of the place. Published and predicted are what is left of the weed, as a percentage of the "
    "field it is compared with: 100 = no effect, 10 = a tenth left."
)
HOW_TO_READ = (
    "Predicted = with the likely weed figures; low to high = between these lie eight in ten of the sets of "
    "figures that explain the trials about equally well. Factor = how many times too much or too little, 1 "
    "where an upper (<) or lower (>) limit is kept. Study left out = foretold by weed figures fitted to all "
    "but the study the outcome comes from. Match = kept if the prediction lies within what we take for a "
    "good match of that trial, or on the right side of a limit; else off. Dates, crops and how dense the "
    "weed was are often our reading; the notes in trials.csv say so. Some figures that no fit moves were "
    "judged with the trials in view and are not judged anew for a study left out; DEVELOPERS.md lists them."
)
PARTS = {
    "fit": "The weed figures are fitted to these trials.",
    "check": "These are run and compared; nothing is fitted to them.",
    "judged": "What was left here is common practice or our judgement: fitted with the rest, never counted.",
}


def trials_page(results: Sequence[TrialResult], tables: Tables, *, everything: bool = False) -> Page:
    """Predicted against published, one section for each weed.

    Parameters
    ----------
    results : sequence of TrialResult
    tables : Tables
    everything : bool
        Also show checks of order, and what is left out with the reason.

    Returns
    -------
    Page
        Its last section holds the median factor and the share of close matches, foretold and fitted, the
        orders kept, and what is missed with the reason.
    """
    weeds = dict.fromkeys(one.trial.weed for one in results if one.trial.weed)
    sections = [_section(tables.weeds[weed], results, everything) for weed in weeds]
    others = [one.trial for one in results if not one.trial.weed]
    if everything and others:
        sections.append(Section(key="others", title="Other weeds", blocks=_left_out(others)))
    shown = [one.trial for one in results if everything or one.factor is not None]
    cited = sorted({trial.source for trial in shown})
    entries = tuple(Entry(label=key, text=citation(tables.sources[key])) for key in cited)
    sections = [section for section in sections if section.blocks]
    sections.append(Section(key="sources", title="Sources", blocks=(Entries(items=entries),)))
    sections.append(Section(key="reading", title="How to read this", blocks=(Paragraph(text=HOW_TO_READ),)))
    sections.append(
        Section(key="together", title="All together", blocks=_together(results, tables, everything))
    )
    lead = [WHAT_IT_IS]
    if not everything:
        lead.append("Checks of order and what cannot be run are shown with --all.")
    return Page(title="Published weed trials and the model", lead=tuple(lead), sections=tuple(sections))


def trials_json(results: Sequence[TrialResult]) -> str:
    """The same for other programs."""
    found = score(results)
    rows = [
        {
            "trial": one.trial.key,
            "what": one.trial.what,
            "study": one.trial.study,
            "source": one.trial.source,
            "mark": one.trial.mark,
            "weed": one.trial.weed,
            "station": one.trial.station,
            "measure": one.trial.measure,
            "use": one.trial.use,
            "counted": one.trial.counted,
            "bound": one.trial.bound,
            "published_percent": one.trial.published,
            "least_percent": one.trial.least,
            "most_percent": one.trial.most,
            "than": one.trial.than,
            "predicted_percent": _number(one.likely),
            "low_percent": _number(one.low),
            "high_percent": _number(one.high),
            "outcome_left_out_percent": _number(one.outcome_left_out),
            "study_left_out_percent": _number(one.study_left_out),
            "factor": _number(one.factor),
            "outcome_left_out_factor": _number(one.outcome_left_out_factor),
            "study_left_out_factor": _number(one.study_left_out_factor),
            "log_error": _number(one.log_error),
            "kept": one.kept,
            "missed": one.missed,
            "why_missed": one.trial.why_missed,
            "note": one.trial.note,
            "reason": one.trial.reason,
        }
        for one in results
    ]
    whole = {
        "within_factor": CLOSE,
        "study_left_out": _match_json(found.study_left_out),
        "outcome_left_out": _match_json(found.outcome_left_out),
        "fitted": _match_json(found.fitted),
        "checks": _match_json(found.checks),
        "missed": [one.trial.key for one in found.missed],
        "not_yet_left_out": list(found.waiting),
        "orders": found.orders,
        "orders_kept": found.orders_kept,
    }
    return json.dumps({"trials": rows, "together": whole}, indent=2, ensure_ascii=False) + "\n"


def _match_json(match: Match) -> dict[str, float | int | None]:
    return {
        "outcomes": match.outcomes,
        "median_factor": _number(match.median_factor),
        "share_within_factor": _number(match.close),
    }


def _section(weed: Weed, results: Sequence[TrialResult], everything: bool) -> Section:
    here = [one for one in results if one.trial.weed == weed.key]
    names = weed.name_us if weed.name_us == weed.name_uk else f"{weed.name_us} / {weed.name_uk}"
    blocks: list[Block] = []
    for part, text in PARTS.items():
        if rows := tuple(_figures(one) for one in here if _part(one.trial) == part):
            header = ("Trial", "What was done; source", "Published", "Predicted, low-high", "Factor")
            apart = ("Study left out", "Factor then") if part == "fit" else ()
            blocks += [Paragraph(text=text), Grid(header=(*header, *apart, "Match"), rows=rows)]
    if everything:
        if rows := tuple(_order(one) for one in here if one.trial.use == "order"):
            header = ("Check", "What against what; source", "Should be", "Predicted, low-high", "Order")
            text = "Checks of order: only more or less is known."
            blocks += [Paragraph(text=text), Grid(header=header, rows=rows)]
        blocks += _left_out([one.trial for one in here])
    return Section(key=weed.key, title=f"{capital(names)} ({weed.latin})", blocks=tuple(blocks))


def _part(trial: Trial) -> str:
    if trial.use in ("fit", "check") and not trial.counted:
        return "judged"
    return trial.use


def _figures(one: TrialResult) -> tuple[str, ...]:
    trial = one.trial
    limit = f"{trial.bound} " if trial.bound in "<>" else ""
    apart = (_percent(one.study_left_out), _factor(one.study_left_out_factor))
    return (
        trial.key,
        f"{trial.what}\n{_basis(trial)}",
        f"{limit}{trial.published:.3g}",
        f"{_percent(one.likely)}\n{_percent(one.low)}-{_percent(one.high)}",
        _factor(one.factor),
        *(apart if _part(trial) == "fit" else ()),
        "kept" if one.kept else "off",
    )


def _factor(value: float | None) -> str:
    """How many times too much or too little.

    Examples
    --------
    >>> [_factor(x) for x in (None, 1.0, 2.54, 116.7)]
    ['-', '1.0', '2.5', '117']
    """
    if value is None:
        return "-"
    return f"{value:.1f}" if value < 99.95 else f"{value:.0f}"


def _order(one: TrialResult) -> tuple[str, ...]:
    trial = one.trial
    if trial.least is not None and trial.most is not None:
        should = f"{trial.least:g} to {trial.most:g}"
    else:
        should = f"> {trial.least:g}" if trial.least is not None else f"< {trial.most:g}"
    return (
        trial.key,
        f"{trial.what}\n{_basis(trial)}",
        f"{should} of {trial.than}" if trial.than else should,
        f"{_percent(one.likely)}\n{_percent(one.low)}-{_percent(one.high)}",
        "kept" if one.kept else "broken",
    )


def _basis(trial: Trial) -> str:
    """Source of a row, and how firm it is where it was not simply read."""
    if trial.source in NOT_PUBLISHED:
        return BASIS[trial.mark]
    return trial.source if trial.mark == "seen" else f"{trial.source}, {BASIS[trial.mark]}"


def _left_out(trials: Sequence[Trial]) -> tuple[Block, ...]:
    entries = tuple(
        Entry(label=f"{trial.key} {trial.what} ({trial.source})", text=_why(trial))
        for trial in trials
        if not trial.runs
    )
    return (Paragraph(text="Left out, and why:"), Entries(items=entries)) if entries else ()


def _why(trial: Trial) -> str:
    said = f" Published: {trial.published:g}%." if trial.published is not None else ""
    return f"{capital(trial.reason)}.{said}"


def _together(results: Sequence[TrialResult], tables: Tables, everything: bool) -> tuple[Block, ...]:
    found = score(results)
    blocks: list[Block] = []
    if any(one.trial.counted for one in results):
        rows = (
            ("Study left out; checks as predicted", found.study_left_out),
            ("Outcome left out; checks as predicted", found.outcome_left_out),
            ("As fitted; checks as predicted", found.fitted),
            ("Checks alone", found.checks),
        )
        header = ("Outcomes seen in the field", "How many", "Median factor", f"Within {CLOSE:g} times")
        blocks.append(Grid(header=header, rows=tuple((name, *_match(match)) for name, match in rows)))
    if found.waiting:
        text = f"Not yet left out in turn, as the fit was not repeated since: {', '.join(found.waiting)}."
        blocks.append(Paragraph(text=text))
    if found.orders:
        text = (
            f"Order checks kept: {found.orders_kept} of {found.orders}. The fit is held to them, so this "
            "tells how well they go together with the rest, not how well they are foretold."
        )
        blocks.append(Paragraph(text=text))
    if everything and (text := _edges(results, tables)):
        blocks.append(Paragraph(text=text))
    if found.missed:
        text = f"Missed by more than {CLOSE:g} times with the study left out (checks: as predicted):"
        entries = tuple(_missed(one) for one in found.missed)
        blocks += [Paragraph(text=text), Entries(items=entries)]
    return tuple(blocks)


def _edges(results: Sequence[TrialResult], tables: Tables) -> str:
    """Figures the trials would move further than their ranges allow."""
    weeds = dict.fromkeys(one.trial.weed for one in results if one.trial.use == "fit")
    found = []
    for weed in weeds:
        if edges := ", ".join(f"{name} {value:g}" for _, name, value in at_the_edge(tables, [weed])):
            found.append(f"{tables.weeds[weed].name_uk}: {edges}")
    if not found:
        return ""
    return f"Weed figures that the fit leaves at an edge of their range: {'; '.join(found)}."


def _match(match: Match) -> tuple[str, str, str]:
    if not match.outcomes:
        return "0", "-", "-"
    return str(match.outcomes), f"{match.median_factor:.2f}", f"{match.close:.0%}"


def _missed(one: TrialResult) -> Entry:
    trial = one.trial
    text = (
        f"Published {trial.published:.3g}%, foretold {_percent(one.study_left_out)}%: "
        f"{_factor(one.study_left_out_factor)} times off. {capital(trial.why_missed or 'not explained')}."
    )
    return Entry(label=f"{trial.key} {trial.what}", text=text)


def _percent(value: float | None) -> str:
    """A percentage with two figures that count.

    Examples
    --------
    >>> [_percent(x) for x in (0.04, 0.316, 1.56, 27.3, 100.0, 203.4)]
    ['0.04', '0.32', '1.6', '27', '100', '203']
    """
    if value is None or math.isnan(value):
        return "-"
    if value >= 9.95:
        return f"{value:.0f}"
    return f"{value:.1f}" if value >= 0.995 else f"{value:.2g}" if value >= 0.001 else "0"


def _number(value: float | None) -> float | None:
    return None if value is None or math.isnan(value) else float(f"{value:.6g}")
