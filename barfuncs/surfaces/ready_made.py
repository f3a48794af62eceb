"""Every workbook that comes ready made: the files of `workbook_templates`."""

from collections.abc import Callable

from barfuncs.buying import workbook as buying
from barfuncs.rack import workbook as rack
from barfuncs.surfaces import function_tour, functions_workbook
from barfuncs.templates import quotation, shop
from barfuncs.templates.registry import TEMPLATES

FOR_A_SHOP: dict[str, Callable[..., bytes]] = {name: template.build for name, template in (*TEMPLATES.items(), ("quotation", quotation.TEMPLATE))}
"""Those that take a shop's own data."""
READY_MADE: dict[str, Callable[[], bytes]] = {
    **FOR_A_SHOP, "functions": functions_workbook.build,
    "function_tour": function_tour.build, "shop": shop.build, "rack": rack.build, "buy_list": buying.build,
}
