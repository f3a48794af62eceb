"""Every workbook that comes ready made: the files of `workbook_templates`."""

from collections.abc import Callable

from barfuncs.workbooks import functions, job_plan, quote, shop

READY_MADE: dict[str, Callable[[], bytes]] = {
    "job_plan": job_plan.build, "quote": quote.build, "functions": functions.build, "shop": shop.build,
}
