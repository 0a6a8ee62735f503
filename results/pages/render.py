# SPDX-License-Identifier: MIT
"""HTML pages without external files, from the templates in this folder."""

from collections.abc import Mapping
from typing import Any

__all__ = ["render"]


def render(template: str, content: Mapping[str, Any]) -> str:
    """Fill a template.

    Args:
        template: File name in ``templates``.
        content: Values by name; text is escaped, and every name in the template must have a value.

    Returns:
        The page.
    """
    from jinja2 import Environment, PackageLoader, StrictUndefined

    from annelid.solver.display import capitalised

    environment = Environment(
        loader=PackageLoader("annelid.results.pages"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["capitalised"] = capitalised
    return str(environment.get_template(template).render(content))
