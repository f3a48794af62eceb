"""Which templates there are: a new one is its module and one line here. Imports nothing, so that --help is quick."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """A template's name, its command, the module that has it as TEMPLATE, and what the list of commands says of it."""

    name: str
    command: str
    module: str
    summary: str


LINES: list[Line] = [
    Line("job_plan", "plan", "barfuncs.templates.job_plan", "Fill a job plan for every row of JOBS (CSV or xlsx)."),
    Line("quote", "quote", "barfuncs.templates.quote", "Fill a quote for every row of JOBS (CSV or xlsx)."),
]
