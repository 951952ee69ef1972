"""Small scripts that take the options of a browser and do one thing."""

import sys
from pathlib import Path

BEGIN = """\
#!{python}
import pathlib, sys, time
folder = pathlib.Path(__file__).parent
(folder / "asked.txt").write_text("\\n".join(sys.argv[1:]))
(folder / "page.html").write_bytes(
    pathlib.Path(sys.argv[-1].removeprefix("file://")).read_bytes()
)
given = dict(each.split("=", 1) for each in sys.argv[1:] if "=" in each)
"""
PDF = """\
import re
title = re.search("<title>(.*)</title>", (folder / "page.html").read_text())[1]
pathlib.Path(given["--print-to-pdf"]).write_text(
    "%PDF-1.4\\n1 0 obj\\n<</Title (" + title + ")\\n/Creator (" + given["--user-agent"] + ")>>\\n"
)
"""
# A white page of the window's size, twice as large; the end mark begins at 300 px.
PNG = """\
from PIL import Image
wide, high = (2 * int(each) for each in given["--window-size"].split(","))
page = Image.new("RGB", (wide, high), "white")
if high > {end}:
    page.paste("#ff00ff", (0, {end}, wide, min({end} + 8, high)))
page.save(given["--screenshot"])
"""


def fake(folder: Path, *does: str, name: str = "chromium") -> Path:
    """Write a program that runs these lines."""
    folder.mkdir(exist_ok=True, parents=True)
    program = folder / name
    program.write_text(BEGIN.format(python=sys.executable) + "\n".join(does), encoding="utf-8")
    program.chmod(0o755)
    return program


def both(folder: Path) -> Path:
    """Write a program that prints and draws."""
    prints, draws = (
        f"if '--{option}' in given:\n" + "".join(f"    {line}\n" for line in does.splitlines())
        for option, does in (("print-to-pdf", PDF), ("screenshot", PNG.format(end=300)))
    )
    return fake(folder, prints, draws)
