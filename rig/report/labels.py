"""Labels with blind codes, to print, cut and stick on by someone who will not test."""

from collections.abc import Mapping
from pathlib import Path

from jinja2 import Environment, select_autoescape

SHEET = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>Labels – {{ title }}</title>
<style>
body { font: 14px/1.4 Georgia, "DejaVu Serif", serif; margin: 1.5rem; }
table { border-collapse: collapse; }
td, th { border: 1px dashed #56646f; padding: .5rem .9rem; text-align: left; }
.code { font: bold 1.6rem "DejaVu Sans Mono", Consolas, monospace; }
</style></head><body>
<h1>{{ title }}: labels</h1>
<p>For someone who will <strong>not</strong> test. Cut each row, stick the code on its blade, strike
the blade's own name out or cover it. Then close this sheet in an envelope: it is the key.</p>
<table><tr><th>Blade</th><th>Code to stick on</th></tr>
{% for code, blade in rows %}<tr><td>{{ blade }}</td><td class="code">{{ code }}</td></tr>
{% endfor %}</table></body></html>
"""


def write(title: str, key: Mapping[str, str], path: Path) -> Path:
    """Write the sheet; `key` is code -> blade."""
    environment = Environment(autoescape=select_autoescape(default_for_string=True))
    rows = sorted(key.items(), key=lambda pair: pair[1])
    path.write_text(environment.from_string(SHEET).render(title=title, rows=rows), encoding="utf-8")
    return path
