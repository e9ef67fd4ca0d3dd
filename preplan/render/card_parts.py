"""Parts that a card and the pages behind it draw alike: the map with its note, and the timeline."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from dataclasses import replace

from preplan.months import month_words
from preplan.render import paper, strip_pdf
from preplan.render.barrier_marks import BARRED
from preplan.render.card_facts import HALF_PT, WIDTH_PT, Facts
from preplan.render.card_texts import small_strip_height, strip_words
from preplan.render.charts import CROSSED, DASHED, Picture
from preplan.render.limit_places import closed_on, named_limits
from preplan.render.paper import LEFT_PT, SMALL_PT, Pen, paragraph
from preplan.render.route_pdf import Subject
from preplan.render.scene import Box

NOTE_PT = 2 * SMALL_PT * paper.LEADING + 3.0
"""Height of the note below a map."""


def subject_of(picture: Picture, facts: Facts) -> Subject:
    """Gather what the map of a card's circuit shows."""
    group = facts.group
    others = (facts.cell("backup"), facts.cell("split")) if facts.on_card else ()
    site = facts.cell("site")
    named = named_limits([*facts.card_flags, *facts.kept_off, *(facts.plan.site_flags[site] if site >= 0 else ())])
    if facts.cell("trip") < 0 and (months := facts.plan.months_without(facts.lead)):
        shut = f"shut {month_words(months, short=True)}"
        named |= dict.fromkeys(closed_on(facts.plan, group), shut)
    subject = picture.subject(
        group.addresses, facts.lead, facts.cell("trip"), others, group.out_steps, named, facts.plan
    )
    return replace(subject, hydrant=facts.hydrant) if facts.on_card else subject


_NOTE_LINES = 2
_SHORTER = {
    " of the loaded way": "", ", back to": ", to", " across a road": "", "some months only": "some months",
    "Upright cross: the hydrant that counts": "Cross: the hydrant", "this card's addresses": "addresses",
}  # fmt: skip
"""What a map's note leaves out where all kinds of marks are on it."""


def draw_map(pen: Pen, picture: Picture, page: Box, subject: Subject) -> float:
    """Draw the map of a trip, and below it over the full width what its marks mean; gives the lower edge."""
    seen = picture.draw(pen, page, subject)
    note = paragraph(map_note(subject, seen), WIDTH_PT, SMALL_PT, most=_NOTE_LINES)
    pen.lines(LEFT_PT, page.bottom - 1.0, note)
    return page.bottom - NOTE_PT


def map_note(subject: Subject, seen: AbstractSet[str]) -> str:
    """Say what the marks on a map mean, those alone that are there, on as many lines as the note has."""
    drops = "Drops: fill sites"
    drops += ", dashed: some months only" * (DASHED in seen) + ", crossed: out of service" * (CROSSED in seen)
    said = {
        "Solid line: loaded, to the star. Dashed: empty, back to the drop.": subject.out_ft is not None,
        "Pointed tags: steps of the loaded way.": bool(subject.turns),
        "Brackets: bridges, limits.": bool(subject.bridges),
        "Bar across a road: no truck passes.": BARRED in seen,
        f"{drops}.": "site" in seen,
        "Upright cross: the hydrant that counts.": "hydrant" in seen,
        "Houses: stations.": "station" in seen,
        "Small symbols: this card's addresses, by status.": "address" in seen,
    }
    note = " ".join(one for one, here in said.items() if here)
    if len(paragraph(note, WIDTH_PT, SMALL_PT)) > _NOTE_LINES:
        for long, short in _SHORTER.items():
            note = note.replace(long, short)
    return note


def timeline_band(pen: Pen, band: Box, facts: Facts) -> None:
    """Draw the timeline of the lead address as a strip over a band's width; nothing where none runs."""
    if facts.group.strip is None or band.height <= 0.0:
        return
    pen.text(band.left, band.top - SMALL_PT * 1.3, strip_words(facts), SMALL_PT)
    page = Box(band.left, band.bottom, band.right, band.top - SMALL_PT * 1.6 - 4.0)
    strip_pdf.draw(pen, page, facts.group.strip)


def small_timeline(pen: Pen, left: float, bottom: float, facts: Facts) -> None:
    """Draw the same into a column, from its lower left corner."""
    if facts.group.strip is None:
        return
    top = bottom + small_strip_height(facts) - 2.0
    below = pen.lines(left, top, paragraph(strip_words(facts), HALF_PT, SMALL_PT))
    strip_pdf.draw(pen, Box(left, bottom, left + HALF_PT, below - 2.0), facts.group.strip)
