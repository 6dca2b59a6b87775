"""`oralquiz compose`: sums for a step of the syllabus, and a teacher's own sums checked."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from oralquiz.beads import Sum
from oralquiz.cli.common import BAD_INPUT, FAILED, echo, json_option, print_json
from oralquiz.cli.sum_options import SumOptions, sum_options
from oralquiz.compose import MAX_TERMS, SetCode, decode, encode
from oralquiz.errors import BadInput

if TYPE_CHECKING:
    from oralquiz.compose import Count, Request, WrittenSum


@click.command()
@sum_options
@click.option(
    "--graded",
    is_flag=True,
    help="A set for a lesson: spread evenly over hands and digits, varied, from easy to hard.",
)
@click.option("--code", is_flag=True, help="Also print the set as one short code.")
@click.option("--from-code", metavar="CODE", help="Check the set that a code holds.")
@click.option(
    "--check",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Check your own sums (text or CSV): their rules, and whether they fit --step.",
)
@json_option
@click.pass_context
def compose(
    ctx: click.Context,
    /,
    graded: bool,
    code: bool,
    from_code: str | None,
    check: Path | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Sums that drill the rule of a step, use only rules taught so far, and stay on the frame.

    They are drawn uniformly from all such sums, and how many there are is shown. With --graded, a
    range of --terms, or sums to avoid, they make up a graded set for a lesson.
    """
    asked = SumOptions(**options)
    if check is not None or from_code is not None:
        _check(ctx, asked, check, from_code, as_json)
        return
    if graded or len(asked.requests()) > 1 or asked.avoid or asked.avoid_pupil:
        sums, counts, more = _graded(asked)
    else:
        sums, counts, more = _drawn(asked)
    request = asked.requests()[0]
    total = _together(counts)
    relaxed = _relaxations(request) if not sums and total.estimate == 0 else []
    text = encode(SetCode(request.columns, 2.5, asked.chosen_step.name, sums)) if code else ""
    if as_json:
        print_json(
            {
                "step": asked.chosen_step.name,
                "seed": asked.chosen_seed,
                "columns": request.columns,
                "count": None if total.total is None else str(total.total),
                "exact": total.exact,
                "estimate": total.estimate,
                "error": total.error,
                "sums": [list(each.terms) for each in sums],
                "answers": [each.answer for each in sums],
                **more,
                **({"code": text} if code else {}),
                **({"relaxations": relaxed} if not sums else {}),
            }
        )
    else:
        for index, each in enumerate(sums):
            load = f"    load {more['loads'][index]}" if "loads" in more else ""
            echo(f"{each} = {each.answer}{load}")
        if code:
            echo(text)
        _tell(asked, total, len(sums), relaxed)
    if not sums:
        ctx.exit(FAILED)


def _drawn(asked: SumOptions) -> tuple[tuple[Sum, ...], list[Count], dict[str, Any]]:
    from oralquiz.compose import compose as compose_sums

    composed = compose_sums(asked.requests()[0], asked.count, asked.chosen_seed)
    return composed.sums, [composed.count], {}


def _graded(asked: SumOptions) -> tuple[tuple[Sum, ...], list[Count], dict[str, Any]]:
    from oralquiz.compose import compose_set

    made = compose_set(asked.requests(), asked.count, asked.chosen_seed, asked.sums_to_avoid())
    more = {
        "loads": [load.points for load in made.difficulties],
        "coverage": [
            {"rule": p.rule.name, "column": p.column, "digit": p.digit, "uses": uses}
            for p, uses in made.coverage.items()
        ],
    }
    return made.sums, list(made.counts), more


def _together(counts: list[Count]) -> Count:
    """The count of all lengths together."""
    from oralquiz.compose import Count

    estimate = sum(count.estimate for count in counts)
    totals = [count.total for count in counts if count.total is not None]
    if len(totals) == len(counts):
        return Count(sum(totals), estimate)
    error = sum(count.error * count.estimate for count in counts) / max(estimate, 1.0)
    return Count(None, estimate, error)


def _relaxations(request: Request) -> list[dict[str, Any]]:
    from oralquiz.compose import relaxations

    return [
        {
            "constraint": each.constraint,
            "sentence": each.sentence,
            "count": None if each.count.total is None else str(each.count.total),
            "estimate": each.count.estimate,
        }
        for each in relaxations(request)
    ]


def _tell(asked: SumOptions, total: Count, found: int, relaxed: list[dict[str, Any]]) -> None:
    """How many sums there are, or what to relax: on stderr, so that stdout holds only sums."""
    if found:
        echo(f"{total} such sums; seed {asked.chosen_seed}", err=True)
        if found < asked.count:
            echo(f"only {found}: there are no more", err=True)
        return
    if total.estimate:
        echo("every such sum is one of those to avoid", err=True)
        return
    echo(f"There is no such sum for {asked.chosen_step.name}.", err=True)
    if not relaxed:
        echo("No single change is enough: change two or more things.", err=True)
        return
    echo("Any one of these changes is enough:", err=True)
    for each in relaxed:
        number = f"{int(each['count']):,}" if each["count"] else f"about {each['estimate']:.2g}"
        echo(f"  {each['sentence']} ({number} sums)", err=True)


def _check(
    ctx: click.Context, asked: SumOptions, file: Path | None, from_code: str | None, as_json: bool
) -> None:
    from oralquiz.compose import WrittenSum, read_sums

    opened: SetCode | None = None
    if file is not None:
        if from_code is not None:
            raise BadInput("--check and --from-code do not go together")
        written = read_sums(file)
    else:
        opened = decode(from_code or "")
        below = any(total < 0 for each in opened.sums for total in each.totals)
        asked = replace(
            asked,
            columns=asked.columns or opened.columns,
            below_zero=asked.below_zero or below,
            minus_first=True,
            repeats=True,
            cancels=True,
        )
        written = tuple(WrittenSum(0, str(each), each) for each in opened.sums)
        step = f", step {opened.step}" if opened.step else ""
        echo(f"{opened.columns} columns, pace {opened.pace:g} s{step}", err=True)
    results = [_result(asked, each) for each in written]
    fits = sum(result["fits"] for result in results)
    if as_json:
        print_json(
            {
                "step": asked.chosen_step.name if asked.step else None,
                **({} if opened is None else _code_as_json(opened)),
                "fits": fits,
                "misfits": len(results) - fits,
                "sums": results,
            }
        )
    else:
        for result in results:
            where = f"line {result['line']}: " if result["line"] else ""
            answer = f" = {result['answer']}" if result["terms"] else ""
            echo(f"{where}{result['sum']}{answer}  {'fits' if result['fits'] else 'NO'}")
            if result["rules"]:
                echo(f"    rules: {_rules_line(result['rules'])}")
            for problem in result["problems"]:
                echo(f"    {problem}")
        echo(f"{fits} of {len(results)} fit", err=True)
    if any(result["terms"] is None for result in results):
        ctx.exit(BAD_INPUT)
    if fits < len(results):
        ctx.exit(FAILED)


def _code_as_json(opened: SetCode) -> dict[str, Any]:
    return {"code": {"columns": opened.columns, "pace": opened.pace, "step": opened.step}}


def _result(asked: SumOptions, written: WrittenSum) -> dict[str, Any]:
    """What is printed about one sum; ``rules`` has a list for each term that stays on the frame."""
    from oralquiz.beads import ALL_RULES
    from oralquiz.compose import check_sum, rules_by_term

    result: dict[str, Any] = {"line": written.line, "sum": written.text}
    if written.terms is None:
        return {
            **result,
            "terms": None,
            "answer": None,
            "rules": [],
            "fits": False,
            "problems": [written.problem],
        }
    terms = written.terms.terms
    low, high = asked.terms or (1, MAX_TERMS)
    request = asked.request(min(max(len(terms), low), high))
    if asked.step is None:  # no step: any rule will do
        request = replace(request, allowed=frozenset(ALL_RULES))
        if not asked.drill:
            request = replace(request, drills=())
    if asked.digits is None:
        request = replace(request, digits=(1, request.columns))
    problems = check_sum(terms, request)
    if written.answer is not None and written.answer != written.terms.answer:
        problems.append(f"the answer is {written.terms.answer}, not {written.answer}")
    return {
        **result,
        "sum": str(written.terms),
        "terms": list(terms),
        "answer": written.terms.answer,
        "rules": [[rule.name for rule in rules] for rules in rules_by_term(terms, request)],
        "fits": not problems,
        "problems": problems,
    }


def _rules_line(rules: list[list[str]]) -> str:
    """Each rule once, with how often, in the order of first use."""
    uses: dict[str, int] = {}
    for name in (name for of_term in rules for name in of_term):
        uses[name] = uses.get(name, 0) + 1
    return ", ".join(f"{name} x {n}" if n > 1 else name for name, n in uses.items())
