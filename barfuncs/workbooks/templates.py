"""Every workbook that comes ready made: the files of `workbook_templates`."""

from collections.abc import Callable

from barfuncs.workbooks import function_tour, functions, job_plan, quote, shop

READY_MADE: dict[str, Callable[[], bytes]] = {
    "job_plan": job_plan.build, "quote": quote.build, "functions": functions.build,
    "function_tour": function_tour.build, "shop": shop.build,
}
