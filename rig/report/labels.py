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
<p>For someone who will <strong>not</strong> test: cut each row, stick the code on its blade, cover
the blade's own mark. Keep the names, with a second print of this sheet, in a closed envelope: it is
the key. Then delete the file.</p>
<p>Alone? Then do not read the codes. 1. Print the sheet and cut its rows. 2. Fold each code in and
tape it shut, unread. 3. Tape each slip to the blade it names; cover the blade's own mark. 4. Tear
the names off; put them and a second print, unread, into a closed envelope. 5. Shuffle the blades
where you do not see them, as in a box. 6. Only now unfold the codes.</p>
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
