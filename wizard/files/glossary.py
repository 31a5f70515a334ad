"""The trade's words, explained in one sentence each."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from wizard.circuit.map import Checked
from wizard.quantities import LongText


class Glossary(Checked):
    """Words and what each means; a word is text as it is said, not an id."""

    glossary: Annotated[dict[Annotated[str, Field(max_length=60)], LongText], Field(min_length=1, max_length=500)]
