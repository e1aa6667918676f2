"""Options of a score: how it is written, and where."""

import functools
from pathlib import Path

import click

from shortway.cli.click_types import GroupedOption, read_section_rhythms
from shortway.cli.options import add_options
from shortway.scores.display import HELD, PAGE_BREAKS, PAPER_SIZES, PICTURE_THEMES, PICTURES, WIDTH
from shortway.scores.formats import FORMS
from shortway.scores.sound import PROGRAMS, ROOTS, TEMPO

#: What the name of a score's file may end in.
ENDS = ", ".join(end for _, end in FORMS.values()) + " or .json"
_score_option = functools.partial(click.option, cls=GroupedOption, group="Score")

score_options = add_options(
    _score_option("--title", metavar="TEXT", help="Default: the chart's title."),
    _score_option(
        "--tempo",
        type=click.FloatRange(*TEMPO),
        help="Quarter notes a minute; the lead sheet's, else 120.",
    ),
    _score_option("--from-measure", type=int, metavar="N", help="First measure; 1."),
    _score_option("--to-measure", type=int, metavar="N", help="Last measure; the chart's last."),
    _score_option("--rhythm", metavar="NAME", help="Comping rhythm; see shortway rhythms."),
    _score_option("--seed", type=int, metavar="N", help="Which varied rhythm; 0."),
    _score_option(
        "--density",
        type=click.Choice(["sparse", "medium", "dense"]),
        help="Hits of a varied rhythm; medium.",
    ),
    _score_option(
        "--section-rhythm",
        "section_rhythms",
        multiple=True,
        callback=read_section_rhythms,
        metavar="SECTION:WHAT",
        help="Of one section: B:rhythm=pushes or B:density=dense.",
    ),
    _score_option("--choruses", type=click.IntRange(1, 50), help="Times through the form; 1."),
    _score_option("--vary/--no-vary", default=None, help="Another path in each chorus."),
    _score_option(
        "--program",
        type=click.Choice([*PROGRAMS]),
        metavar="NAME",
        help="Instrument: electric-piano-1, vibraphone … ; acoustic-grand-piano.",
    ),
    _score_option("--count-in/--no-count-in", default=None, help="A measure before the first."),
    _score_option("--roots", type=click.Choice(ROOTS), help="Track of the roots; muted."),
    _score_option("--swing", type=click.FloatRange(1, 4), help="Longer eighth over shorter; 1."),
    _score_option("--held", type=click.Choice(HELD), help="Common notes; tied."),
    _score_option("--symbols/--no-symbols", default=None, help="Chord symbols over the staff."),
    _score_option("--degrees/--no-degrees", default=None, help="The degree under each note."),
    _score_option("--picture", type=click.Choice(PICTURES), help="Picture of an .svg; staff."),
    _score_option("--width", type=click.FloatRange(*WIDTH), help="Width of an .svg, px; 960."),
    _score_option("--theme", type=click.Choice(PICTURE_THEMES), help="Of an .svg; light."),
    _score_option("--paper", type=click.Choice(PAPER_SIZES), help="Paper of a .pdf; a4."),
    _score_option("--page-breaks", type=click.Choice(PAGE_BREAKS), help="New pages; none."),
)
"""The options of a score in any format."""

out_options = add_options(
    _score_option(
        "-o",
        "--out",
        type=click.Path(path_type=Path, dir_okay=False, allow_dash=True),
        help=f"The score to write: {ENDS}; - for MusicXML on standard output.",
    ),
    _score_option("--force", is_flag=True, help="Replace an existing file."),
)
"""Where a score goes."""
