"""Pages of a PDF, counted by its page objects."""

import re


def pages(pdf: bytes) -> int:
    """How many pages; 0 where it is no PDF or keeps its objects packed."""
    return len(re.findall(rb"/Type\s*/Page\b", pdf)) if pdf.startswith(b"%PDF") else 0
