"""What a quote asks for."""

import dataclasses
from collections.abc import Iterable

from barfuncs.catalogue import kinds
from barfuncs.templates import speeds_sheet
from barfuncs.templates.every_order import BAR, JOB, LATHE, LONGEST_PUSH, ORDER, PART, PRICE
from barfuncs.templates.model import Input, make_input

BREAKS = range(1, 7)


def _needed(items: Iterable[Input], *names: str) -> tuple[Input, ...]:
    """What a plan can do without and a quote can't."""
    return tuple(dataclasses.replace(i, needed=True) if i.name in names else i for i in items)


INPUTS: dict[str, tuple[Input, ...]] = {
    "Job": JOB,
    "Bar": tuple(i for i in BAR if i.name != "longest_random_bar"),
    "Part": (
        *PART,
        make_input("scrap_rate", "Scrap rate", kinds.ScrapRate, 0, from_shop=True),
        make_input("setup_parts", "Set-up pieces", kinds.Count, 0, unit="parts"),
        next(i for i in ORDER if i.name == "confidence"),
    ),
    "Lathe": _needed((i for i in LATHE if i.name != "feeder_bars"), "machine_rate"),
    "Material price": _needed(PRICE, "material_price", "price_per"),
    "Other costs and price": (
        make_input("other_per_part", "Other costs each good part", kinds.Money, 0, unit="each", from_shop=True),
        make_input("other_per_order", "Other costs of the order", kinds.Money, 0, unit="order", from_shop=True),
        make_input("tooling", "Tooling of this order", kinds.Money, 0, unit="order", from_shop=True),
        make_input("margin", "Margin (share of the price)", kinds.Margin, blank=0, from_shop=True,
                   help_text="profit as a share of the price; give this or the markup"),
        make_input("markup", "Markup (share of the cost)", kinds.Markup, blank=0, from_shop=True,
                   help_text="profit as a share of the cost; give this or the margin"),
        make_input("rounding", "Rounding of the price each", kinds.PriceRounding, "nearest 0.01", from_shop=True),
    ),
}
QUANTITIES = tuple(make_input(f"quantity_{n}", f"Quantity {n}", kinds.PositiveCount, needed=n == 1, unit="parts",
                              help_text="good parts to quote") for n in BREAKS)
WHAT_IF = make_input("what_if_quantity", "Quantity for the what-ifs", kinds.PositiveCount, unit="parts",
                     help_text="left blank, the first quantity")
TOOL = make_input("tool", "Cutting edge (for the suggestions)", speeds_sheet.Tool, "carbide", help_text="what the tools' edges are made of")
CYCLE_INPUTS = (
    make_input("max_feed", "Max. feed of the lathe", kinds.FeedSpeed, from_shop=True),
    make_input("tool_changes", "Tool changes at the main spindle", kinds.Count, unit="each",
               help_text="left blank, the tools of the list, those of the second spindle apart"),
    make_input("tool_change_time", "Time of a tool change", kinds.Seconds, blank=0, from_shop=True),
    make_input("rapid_time", "Rapid moves together", kinds.Seconds, blank=0, from_shop=True),
    make_input("bar_feed_time", "Bar feed, one stroke", kinds.Seconds, blank=0, from_shop=True),
    LONGEST_PUSH,
    make_input("handover_time", "Clamp, or hand-over", kinds.Seconds, blank=0, from_shop=True),
)

MORE_COSTS: dict[str, tuple[Input, ...]] = {
    "Inspection": (
        make_input("first_off", "Parts inspected at the beginning", kinds.Count, blank=0, unit="parts"),
        make_input("every", "Then one in", kinds.Count, blank=0, unit="parts"),
        make_input("aql", "Sample of the lot: AQL", kinds.Aql, blank=0, unit="%",
                   help_text="percent nonconforming for a sample by ISO 2859-1, single, normal: 0.065, 0.1, 0.15, 0.25, 0.4, 0.65, 1, 1.5, 2.5, 4 or 6.5; "
                             "left blank, no sample"),
        make_input("inspection_level", "Inspection level", kinds.InspectionLevel, "II"),
        make_input("inspection_time", "Time to inspect one part", kinds.Seconds, blank=0),
        make_input("inspection_rate", "Rate for inspection", kinds.Money, unit="per_hour", from_shop=True),
    ),
    "Packing": (
        make_input("box_weight", "Parts in a box weigh at most", kinds.PositiveWeight, blank=0),
        make_input("box_parts", "Most parts in a box", kinds.PositiveCount, blank=0, unit="parts"),
        make_input("box_cost", "Cost of a box", kinds.Money, blank=0, unit="each"),
    ),
    "The part": (
        make_input("surface_area", "Surface of a part", kinds.SurfaceArea, blank=0, from_part=True,
                   help_text="whole surface of one part, for work that is charged by area; left blank, that of the sheet Part"),
    ),
    "How the price is shown": (
        make_input("priced_per", "Price is for", kinds.PricedPer, "part", from_shop=True),
        make_input("minimum_order", "Minimum order value", kinds.Money, blank=0, unit="order", from_shop=True),
        make_input("setup_priced", "Set-up and tooling", kinds.SetupPriced, kinds.SETUP_PRICED[0],
                   help_text="in the price each, or lines of their own on the quotation, each charged once"),
        make_input("offer_whole_bars", "Offer what the same bars give", kinds.NoYes, kinds.NO_YES[0],
                   help_text="yes: beside each quantity the quotation says how many parts the same bars give, and their price"),
    ),
}
LETTER: tuple[Input, ...] = (
    make_input("seller", "Your company", kinds.Text, from_shop=True, help_text="your company, as it stands on the customer's page"),
    make_input("seller_address", "Your address", kinds.Text, from_shop=True, help_text="your address, in one line"),
    make_input("seller_contact", "Contact", kinds.Text, from_shop=True, help_text="who to ask: name, telephone, mail"),
    make_input("customer_address", "Customer's address", kinds.Text, help_text="the customer's address, in one line"),
    make_input("attention", "For the attention of", kinds.Text, help_text="the customer's person"),
    make_input("reference", "Customer's reference", kinds.Text, help_text="number or date of the customer's enquiry"),
    make_input("quote_number", "Quote number", kinds.Text,
               help_text="your number of this quotation; quotes with the same number become one quotation"),
    make_input("quote_date", "Date", kinds.Text, help_text="date of this quote"),
    make_input("valid_until", "Valid until", kinds.Text, help_text="the day on which the prices lapse"),
    make_input("valid_days", "Valid for", kinds.Days, unit="days", from_shop=True,
               help_text="days from the date, where the last day is not filled in"),
    make_input("currency", "Currency", kinds.Text, from_shop=True, help_text="symbol or letters of the currency"),
    make_input("part_description", "Part", kinds.Text, help_text="what the part is called"),
    make_input("material_line", "Material", kinds.Text, help_text="left blank, material, shape and size of the bar"),
    make_input("certificate_line", "Certificates", kinds.Text, help_text="what comes along: material certificate, inspection report"),
    make_input("lead_time", "Lead time", kinds.Text, help_text="of this part, from the order on"),
    make_input("freight_charged", "Freight charged, once", kinds.Money, unit="order",
               help_text="freight to the customer as a line of its own, once for the whole quotation; 0 says that it is free; left blank, no line"),
    make_input("delivery", "Delivery", kinds.LongText, help_text="where and how you deliver, the whole quotation"),
    make_input("terms", "Terms", kinds.LongText, from_shop=True, help_text="terms of payment and delivery"),
    make_input("tax_wording", "What you say of tax", kinds.LongText, from_shop=True, help_text="what you say of tax"),
    make_input("quotation_notes", "Notes below the quotation", kinds.LongText, from_shop=True, help_text="what stands below every quotation"),
    make_input("remark", "Remark", kinds.LongText, help_text="anything else that the customer should read of this part"),
    make_input("paper", "Paper", kinds.Paper, from_shop=True,
               help_text="paper of the quotation that is sent; left blank, letter for a part in inch and A4 for one in mm"),
)
OF_THE_SHOP = {name: name for name in ("seller", "seller_address", "seller_contact", "terms")} | {"tax_wording": "tax_note", "quotation_notes": "notes"}
"""Texts of the customer's page that the shop's own stand in for, and what they are called in a quotation."""
