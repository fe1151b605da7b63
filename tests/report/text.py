"""A page as a reader sees it: its words alone."""

import re
from html import unescape
from pathlib import Path

from rig.report.page import write


def words(path: Path) -> str:
    """The text of the last run's page without its pictures, one space between words."""
    page = re.sub(r"data:image[^\"]*", "", write(path, None, None).read_text(encoding="utf-8"))
    page = re.sub(r"<style>.*?</style>|<[^>]*>", " ", page, flags=re.DOTALL)
    return " ".join(unescape(page).split())
