"""The templates by name. A module is imported when its template is first asked for."""

import importlib
from collections.abc import Iterator, Mapping

from barfuncs.templates import lines
from barfuncs.templates.template import Template


class _Templates(Mapping[str, Template]):
    def __getitem__(self, name: str) -> Template:
        line = next((line for line in lines.LINES if line.name == name), None)
        if line is None:
            raise KeyError(name)
        template: Template = importlib.import_module(line.module).TEMPLATE
        return template

    def __iter__(self) -> Iterator[str]:
        return (line.name for line in lines.LINES)

    def __len__(self) -> int:
        return len(lines.LINES)


TEMPLATES: Mapping[str, Template] = _Templates()
