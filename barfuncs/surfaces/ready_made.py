"""Every workbook that comes ready made: the files of `workbook_templates`."""

from collections.abc import Callable

from barfuncs.surfaces import function_tour, functions_workbook
from barfuncs.templates import job_plan, quote, shop

READY_MADE: dict[str, Callable[[], bytes]] = {
    "job_plan": job_plan.build, "quote": quote.build, "functions": functions_workbook.build,
    "function_tour": function_tour.build, "shop": shop.build,
}
