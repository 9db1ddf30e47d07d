"""Coating, washing and their cautions, as answers."""

import datetime as dt
from collections.abc import Sequence

from noonframe.api.bench_names import named
from noonframe.api.inputs_bench import CoatingBody
from noonframe.api.outputs_bench import (
    CautionItem,
    CheckItem,
    CoatingAnswer,
    CoverageItem,
    FormulaItem,
    FormulasAnswer,
    FormulaStock,
    PowderItem,
    SoluteItem,
    StepItem,
    StockItem,
)
from noonframe.bench.chemicals import Caution, cautions_for
from noonframe.bench.coating import Sheets, bottle_reach, mix_for, powders_for
from noonframe.bench.formulas import Formula, Stock, coating_book
from noonframe.bench.wording import plural
from noonframe.bench.workflow import (
    COATING_CHECKS,
    COATING_STEPS,
    WASHING_STEPS,
    TimedStep,
    rinse_peroxide_ml,
    timed,
)
from noonframe.errors import OutOfDomain


def answer_coating(body: CoatingBody) -> CoatingAnswer:
    """All that a stack of sheets takes from powder to dry print."""
    book = coating_book()
    formula = book.formula(body.formula)
    coverage_ml_m2, coverage_source = _coverage(body)
    sheets = [Sheets(each.width_mm, each.height_mm, each.count) for each in body.sheets]
    count = sum(each.count for each in sheets)
    mix = mix_for(sheets, formula, coverage_ml_m2, body.margin_share)
    reach = None
    if body.bottle_ml is not None:
        _check_bottles(formula, body.bottle_ml)
        reach = bottle_reach(formula, body.bottle_ml, sheets[0], coverage_ml_m2, body.margin_share)
    rinse_ml = (
        rinse_peroxide_ml(body.bath_l, body.peroxide_strength_percent) if body.oxidising_rinse else None
    )
    optional = [
        name
        for name, wanted in (("acid-bath", body.acid_bath), ("oxidising-rinse", body.oxidising_rinse))
        if wanted
    ]
    measured = " and ".join(f"{each.volume_ml:.1f} mL of {each.stock.label}" for each in mix.stocks)
    return CoatingAnswer(
        formula=formula.id,
        label=formula.label,
        sensitizer=formula.sensitizer,
        source=formula.source,
        keeping=formula.keeping,
        caution=formula.caution or None,
        area_m2=round(mix.area_m2, 6),
        coverage_ml_m2=coverage_ml_m2,
        coverage_source=coverage_source,
        coat_ml=round(mix.coat_ml, 3),
        total_ml=round(mix.total_ml, 3),
        stocks=[_stock(each.stock, each.volume_ml, body.stock_ml) for each in mix.stocks],
        bottle_sheets=None if reach is None else reach.sheets,
        runs_out_first=None if reach is None else reach.runs_out_first.id,
        checklist=[CheckItem(text=check.text, source=check.source) for check in COATING_CHECKS],
        coating=_steps(timed(COATING_STEPS, _second(body.start), repeats=min(count, 1000)), body.start),
        washing=_steps(
            timed(WASHING_STEPS, _second(body.wash_start), with_optional=optional), body.wash_start
        ),
        rinse_peroxide_ml=None if rinse_ml is None else round(rinse_ml, 2),
        cautions=_cautions(
            cautions_for(formula.substances, body.peroxide_strength_percent if body.oxidising_rinse else None)
        ),
        summary=f"For {plural(count, 'sheet')}: {measured}, {mix.total_ml:.1f} mL in all.",
    )


def answer_formulas() -> FormulasAnswer:
    """The published formulas and ways of coating."""
    book = coating_book()
    return FormulasAnswer(
        formulas=[
            FormulaItem(
                id=formula.id,
                label=formula.label,
                sensitizer=formula.sensitizer,
                stocks=[
                    FormulaStock(
                        id=stock.id,
                        label=stock.label,
                        parts=stock.parts,
                        solutes=[
                            SoluteItem(substance=s.substance, label=s.label, percent_w_v=s.percent_w_v)
                            for s in stock.solutes
                        ],
                    )
                    for stock in formula.stocks
                ],
                keeping=formula.keeping,
                source=formula.source,
                caution=formula.caution or None,
                cautions=_cautions(cautions_for(formula.substances)),
            )
            for formula in book.formulas.values()
        ],
        coverages=[
            CoverageItem(
                id=way.id,
                label=way.label,
                ml_per_m2=way.ml_per_m2,
                low_ml_per_m2=way.low_ml_per_m2,
                high_ml_per_m2=way.high_ml_per_m2,
                source=way.source,
            )
            for way in book.coverages.values()
        ],
    )


def _coverage(body: CoatingBody) -> tuple[float, str]:
    if body.coverage_ml_m2 is None:
        way = coating_book().coverage(body.coverage)
        return way.ml_per_m2, way.source
    if "coverage" in body.model_fields_set:
        raise OutOfDomain("coverage", body.coverage, "left out when coverage_ml_m2 is given")
    return body.coverage_ml_m2, "given"


def _check_bottles(formula: Formula, bottle_ml: dict[str, float]) -> None:
    known = [stock.id for stock in formula.stocks]
    for name, value in bottle_ml.items():
        if name not in known:
            raise OutOfDomain(f"bottle_ml.{name}", value, f"left out: the stocks are {', '.join(known)}")


def _stock(stock: Stock, volume_ml: float, bottle_ml: float) -> StockItem:
    strengths = {solute.substance: solute.percent_w_v for solute in stock.solutes}
    with named({"volume_ml": "stock_ml"}):
        powders = powders_for(stock, bottle_ml)
    return StockItem(
        id=stock.id,
        label=stock.label,
        parts=stock.parts,
        volume_ml=round(volume_ml, 3),
        powders=[
            PowderItem(
                substance=powder.substance,
                label=powder.label,
                percent_w_v=strengths[powder.substance],
                weight_g=round(powder.weight_g, 3),
            )
            for powder in powders
        ],
    )


def _second(start: dt.datetime | None) -> float:
    return 0.0 if start is None else start.timestamp()


def _steps(steps: Sequence[TimedStep], start: dt.datetime | None) -> list[StepItem]:
    def when(unix_s: float) -> str | None:
        if start is None:
            return None
        return dt.datetime.fromtimestamp(unix_s, start.tzinfo).isoformat(timespec="seconds")

    return [
        StepItem(
            id=each.step.id,
            text=each.step.text,
            least_min=each.step.least_min,
            most_min=each.step.most_min,
            done_when=each.step.done_when,
            source=each.step.source,
            earliest_start=when(each.earliest_start_s),
            latest_start=when(each.latest_start_s),
            earliest_end=when(each.earliest_end_s),
            latest_end=when(each.latest_end_s),
        )
        for each in steps
    ]


def _cautions(cautions: Sequence[Caution]) -> list[CautionItem]:
    return [CautionItem(about=c.about, text=c.text, source=c.source) for c in cautions]
