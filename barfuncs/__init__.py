"""Formulas for people who plan, quote and run parts turned from bar on CNC lathes with a bar feeder.

>>> import barfuncs as bf
>>> bf.parts_per_bar("12 ft", 2.25, 0.125, 3, units="in")
59
"""

from barfuncs.catalogue.entry import CATALOGUE
from barfuncs.catalogue.function import why
from barfuncs.catalogue.materials import use_materials
from barfuncs.errors import BarfuncsError, InputError, WorkbookError
from barfuncs.functions.alone import (
    chance_to_run,
    chip_bin_parts,
    edge_parts_left,
    expected_hours,
    first_stop,
    hours_until_stop,
    parts_bin_by_volume,
    parts_bin_by_weight,
    parts_until_stop,
)
from barfuncs.functions.bar_yield import (
    bar_per_part,
    bar_use,
    first_stickout,
    min_remnant,
    parts_left,
    parts_per_bar,
    remnant_length,
)
from barfuncs.functions.cost import (
    machine_cost,
    margin_of,
    material_cost,
    order_cost,
    order_credit,
    order_total,
    other_cost,
    price_at_margin,
    price_at_markup,
    price_breaks,
    quoted_price,
    rounded_price,
    scrap_credit,
    setup_cost,
)
from barfuncs.functions.feeding import (
    feed_strokes,
    feed_time_per_part,
    good_parts_per_bar,
    parts_in_full_feeds,
    parts_with_first_scrapped,
    two_spindle_cycle,
)
from barfuncs.functions.inspection import (
    acceptance_chance,
    acceptance_number,
    inspection_cost,
    inspection_hours,
    parts_inspected,
    rejection_number,
    sample_code,
    sample_size,
)
from barfuncs.functions.machining import (
    cutoff_time,
    cycle_time_of,
    drilling_time,
    facing_time,
    operation_time,
    spindle_speed,
    taper_time,
    thread_passes,
    threading_time,
    turning_time,
)
from barfuncs.functions.material_price import (
    cheapest_order_quantity,
    material_line_cost,
    price_from_brackets,
    yearly_order_cost,
)
from barfuncs.functions.minding import (
    lathe_rate,
    lathes_minded,
    lathes_running,
    lathes_waiting,
    machine_hour_rate,
    minding_efficiency,
    waiting_chance,
    waiting_time,
)
from barfuncs.functions.outside import (
    boxes_needed,
    order_value,
    packing_cost,
    parts_per_box,
    price_for,
    process_cost,
)
from barfuncs.functions.part import (
    bore_area,
    chips_per_part,
    common_area,
    finished_length,
    finished_weight,
    outside_area,
    part_area,
    part_volume,
    part_width,
    section_volume,
    section_width,
    step_area,
)
from barfuncs.functions.quantity import (
    bars_for_confidence,
    bars_for_quantity,
    last_bar_parts,
    parts_to_make,
    whole_bar_quantity,
)
from barfuncs.functions.safety import stickout_ratio
from barfuncs.functions.sawing import (
    blank_lengths,
    blank_parts,
    blanks_per_supplied_bar,
    cuts_per_supplied_bar,
    parts_per_supplied_bar,
)
from barfuncs.functions.stock import (
    across_corners,
    bar_weight,
    length_in,
    material_density,
    section_area,
    weight_per_length,
)
from barfuncs.functions.stock_choice import stock_choice
from barfuncs.functions.stock_size import (
    bar_size_for,
    bar_size_reason,
    bar_straightness,
    defect_depth,
    size_left,
    size_tolerance,
    smallest_bar,
)
from barfuncs.functions.times import bars_for_hours, run_hours, unattended_hours
from barfuncs.functions.tools import (
    edge_change_per_part,
    edge_cost,
    life_for_least_cost,
    life_for_most_parts,
    parts_per_edge,
    speed_for_life,
    taylor_constant,
    taylor_exponent,
    tool_cost,
    tool_life,
)

__version__ = "0.1.0"

__all__ = [
    "BarfuncsError", "CATALOGUE", "InputError", "WorkbookError", "__version__", "across_corners", "bar_use",
    "bar_weight", "bars_for_confidence", "bars_for_hours", "bars_for_quantity", "blanks_per_supplied_bar", "cutoff_time", "cuts_per_supplied_bar", "cycle_time_of",
    "drilling_time", "facing_time", "bar_per_part", "first_stickout", "last_bar_parts", "length_in",
    "machine_cost", "margin_of", "material_cost", "material_density", "operation_time", "order_cost",
    "order_credit", "order_total", "other_cost", "parts_left", "parts_per_bar", "price_at_margin",
    "price_at_markup", "price_breaks", "quoted_price", "remnant_length", "rounded_price", "run_hours",
    "scrap_credit", "section_area", "setup_cost", "min_remnant", "spindle_speed", "parts_to_make",
    "stickout_ratio", "threading_time", "turning_time", "unattended_hours", "use_materials", "weight_per_length",
    "whole_bar_quantity", "why",
    "blank_lengths", "blank_parts", "parts_per_supplied_bar", "stock_choice",
    "cheapest_order_quantity", "material_line_cost", "price_from_brackets", "yearly_order_cost",
    "bore_area", "chips_per_part", "common_area", "finished_length", "finished_weight", "outside_area", "part_area",
    "part_volume", "part_width", "section_volume", "section_width", "step_area",
    "bar_size_for", "bar_size_reason", "bar_straightness", "defect_depth", "size_left", "size_tolerance", "smallest_bar",
    "acceptance_chance", "acceptance_number", "inspection_cost", "inspection_hours", "parts_inspected", "rejection_number", "sample_code", "sample_size",
    "lathe_rate", "lathes_minded", "lathes_running", "lathes_waiting", "machine_hour_rate", "minding_efficiency", "waiting_chance", "waiting_time",
    "boxes_needed", "order_value", "packing_cost", "parts_per_box", "price_for", "process_cost",
    "chance_to_run", "chip_bin_parts", "edge_parts_left", "expected_hours", "first_stop",
    "hours_until_stop", "parts_bin_by_volume", "parts_bin_by_weight", "parts_until_stop",
    "edge_change_per_part", "edge_cost", "feed_strokes", "feed_time_per_part", "good_parts_per_bar", "life_for_least_cost",
    "life_for_most_parts", "parts_in_full_feeds", "parts_per_edge", "parts_with_first_scrapped", "speed_for_life", "taper_time",
    "taylor_constant", "taylor_exponent", "thread_passes", "tool_cost", "tool_life", "two_spindle_cycle",
]
