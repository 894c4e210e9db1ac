"""All pages together."""

from __future__ import annotations

from html import escape
from pathlib import Path

from generator import gallery, reference
from generator.prose import EXAMPLES, Prose, teller
from generator.site import Page, Site, write

QUESTIONS = {
    "How dilute must the stock be?": ("do/find-the-consistency", "01_how_dilute_must_the_stock_be.py"),
    "How much water is that?": ("learn/first-run", "02_how_much_water_is_that.py"),
    "Where does the water go?": ("learn/where-the-water-goes", "03_where_does_the_water_go.py"),
    "Can this former take it?": ("do/set-formers-side-by-side", "04_can_this_former_take_it.py"),
    "What gives out first?": ("do/find-the-bottleneck", "05_what_gives_out_first.py"),
    "What does it cost?": ("do/price-a-kilogram-of-water", "06_what_does_it_cost.py"),
    "What would a rebuild gain?": ("do/compare-a-rebuild", "07_what_would_a_rebuild_gain.py"),
    "Do the measurements agree?": ("do/reconcile-a-survey", "08_do_the_measurements_agree.py"),
    "How sure is that?": ("do/say-how-sure", "09_how_sure_is_that.py"),
    "How do I explain it?": ("do/explain-and-hand-out", "10_how_do_i_explain_it.py"),
}


def build(folder: Path) -> tuple[int, list[str]]:
    """Build into a folder: how many files, and what does not fit."""
    site = Site()
    Prose(site).add_all()
    reference.add_all(site)
    gallery.add_gallery(site)
    for name in sorted(p.name for p in (*EXAMPLES.glob("[0-9]*.py"), *EXAMPLES.glob("*.toml"))):
        site.files[f"examples/{name}"] = (EXAMPLES / name).read_bytes()
    site.add(first_page())
    return write(site, folder), site.warnings


def first_page() -> Page:
    """The questions, and where each is answered."""
    who = teller("facial-roll")
    rows = "".join(
        f'<tr><td><a href="page:{place}">{escape(question)}</a></td>'
        f'<td><a href="file:examples/{script}">{script}</a></td></tr>'
        for question, (place, script) in QUESTIONS.items()
    )
    body = (
        "<p>Thin stock is the dilute stock that goes to the headbox. For a grade and a machine, thinstock says how "
        "dilute the stock must be for a light sheet to form without holes, how much water that puts on the wire, which "
        "part of the machine takes it out, what gives out first, and what it costs.</p>"
        f"<p>The bundled facial machine, which is invented: {escape(who.value('flow_per_width'))} of stock at "
        f"{escape(who.value('consistency'))} on every metre of width, "
        f"{escape(who.kilograms(who.result['water_per_fibre']))}.</p>"
        f'<h2 id="questions">Questions</h2><div class="wide"><table><thead><tr><th scope="col">question</th>'
        f'<th scope="col">a short script</th></tr></thead><tbody>{rows}</tbody></table></div>'
    )
    return Page("index.html", "thinstock", body, listed=False)
