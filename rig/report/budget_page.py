"""The uncertainty budgets as a page of the sheet: what each uncertainty is made of (JCGM 100:2008, GUM)."""

from collections.abc import Callable, Iterable
from html import escape
from math import isinf

from rig.analysis.decision import uncertainty_ratio
from rig.analysis.result import CheckResult, Component, Outcome, Quantity
from rig.profile.model import DecisionRule, Profile
from rig.report.words import quantity_name
from rig.units import QUANTITY_DIMENSION, UnitSet

STYLE = """<style>
.budget { break-before: page; }
.budget th, .budget td { text-align: right; white-space: normal; font-size: 6.8pt; }
.budget th, .budget td { padding: .7mm 1mm; vertical-align: bottom; }
.budget th.name, .budget td.name { text-align: left; width: 38mm; }
.budget td.main { font-weight: 700; }
.budget tr.sum td { border-top: .3mm solid var(--ink); }
.budget tr.judged { background: var(--pale); }
.budget footer { margin-top: auto; }
.budget p { font-size: 8pt; margin-top: 1mm; }
</style>"""

MANY = 9999.0  # degrees of freedom: as good as infinite
RULES = {
    DecisionRule.GUARDED: "guarded acceptance: a value within its expanded uncertainty of a limit is called "
    "undecided",
    DecisionRule.SIMPLE: "simple acceptance: the value decides, as long as its expanded uncertainty is "
    "within a quarter of the tolerance; else a value within its expanded uncertainty of a "
    "limit is called undecided",
    DecisionRule.SHARED: "shared risk: the value decides, whatever its uncertainty; near a limit about half "
    "of the decisions are wrong",
}


def budget_page(profile: Profile, result: CheckResult, units: UnitSet, record_id: str) -> str:
    """The page, or nothing where nothing was measured."""
    found = [q for q in result.quantities.values() if _measured(q)]
    if not found:
        return ""
    heads = "".join(
        f"<th>{escape(quantity_name(q.key, profile.action))}<br>{escape(_unit(q, units))}</th>" for q in found
    )
    return (
        f'{STYLE}<main class="page budget"><header><div class="what">'
        f'<p class="kind">Uncertainties</p><h1>{escape(profile.title)}</h1></div></header>'
        f'<section><table><thead><tr><th class="name">Standard uncertainty from</th>{heads}</tr></thead>'
        f"<tbody>{''.join(_sources(found, units))}{''.join(_sums(found, units))}</tbody></table></section>"
        f"<section>{_words(profile)}</section>"
        f"<footer><span>Record {escape(record_id)}</span>"
        "<span>Type A by statistics, type B by other means (JCGM 100:2008)</span></footer></main>"
    )


def _measured(quantity: Quantity) -> bool:
    return quantity.outcome is not Outcome.NOT_MEASURED and quantity.standard_uncertainty is not None


def _unit(quantity: Quantity, units: UnitSet) -> str:
    return units.symbol(QUANTITY_DIMENSION[quantity.key])


def _sources(found: list[Quantity], units: UnitSet) -> Iterable[str]:
    """One row a source, the most common first; the largest of each quantity is set in bold."""
    names: dict[str, Component] = {}
    for quantity in found:
        for part in quantity.budget:
            names.setdefault(part.source, part)
    for name, part in sorted(names.items(), key=lambda item: not item[1].statistical):
        kind = "type A" if part.statistical else "type B"
        cells = "".join(_source_cell(quantity, name, units) for quantity in found)
        yield f'<tr><td class="name">{escape(name)} ({kind})</td>{cells}</tr>'


def _source_cell(quantity: Quantity, name: str, units: UnitSet) -> str:
    parts = [part for part in quantity.budget if part.source == name]
    if not parts:
        return "<td>–</td>"
    largest = max(quantity.budget, key=lambda part: part.standard_uncertainty)
    main = ' class="main"' if largest in parts else ""
    return f"<td{main}>{_short(quantity, sum(p.standard_uncertainty**2 for p in parts) ** 0.5, units)}</td>"


def _sums(found: list[Quantity], units: UnitSet) -> Iterable[str]:
    def row(name: str, cell: Callable[[Quantity], str], kind: str = "") -> str:
        cells = "".join(f"<td>{cell(quantity)}</td>" for quantity in found)
        return f'<tr class="{kind}"><td class="name">{name}</td>{cells}</tr>'

    yield row("Combined", lambda q: _short(q, q.standard_uncertainty or 0.0, units), "sum")
    yield row(
        "Effective degrees of freedom",
        lambda q: "∞" if q.degrees_of_freedom > MANY else f"{q.degrees_of_freedom:.0f}",
    )
    yield row("Coverage factor, 95 %", lambda q: f"{q.coverage_factor:.2f}")
    yield row("Expanded, 95 %", lambda q: _short(q, q.expanded_uncertainty or 0.0, units), "judged")
    yield row("Tolerance to uncertainty", _ratio)
    yield row("Probability of conformity", _conformity, "judged")


def _ratio(quantity: Quantity) -> str:
    if quantity.limits is None or not quantity.expanded_uncertainty:
        return "–"
    ratio = uncertainty_ratio(quantity.limits, quantity.expanded_uncertainty)
    return "–" if isinf(ratio) else f"{ratio:.1f}:1"


def _conformity(quantity: Quantity) -> str:
    if quantity.conformity is None:
        return "–"
    return "> 99.9 %" if quantity.conformity > 0.999 else f"{100.0 * quantity.conformity:.1f} %"


def _short(quantity: Quantity, si: float, units: UnitSet) -> str:
    return f"{units.to(QUANTITY_DIMENSION[quantity.key], si):.2g}"


def _words(profile: Profile) -> str:
    share = 100.0 * profile.area_relative_uncertainty
    return (
        f"<p>Decided by {RULES[profile.decision_rule]} (JCGM 106:2012). Travel is judged against rated "
        "travel as the lower limit: never short.</p>"
        "<p>Contributions that quantities share count once in each; the combined standard uncertainty is the "
        "root of the sum of their squares. Effective degrees of freedom by Welch and Satterthwaite. The "
        f"effective area is taken within ± {share:.1f} % (rectangular).</p>"
    )
