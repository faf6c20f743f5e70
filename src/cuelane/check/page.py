"""The report as one self-contained HTML file: verdict, summary, picture, what is wrong, every event."""

from __future__ import annotations

from markupsafe import Markup

from cuelane.base.schedule import Schedule
from cuelane.check.fault_words import clock
from cuelane.check.picture import error_svg, wave_svg
from cuelane.check.report import Report
from cuelane.check.text import summary_rows
from cuelane.web.page_parts import document, environment, picture_css

_CSS = """
main { max-width: 68rem; margin: 0 auto; padding: 1.5rem clamp(1rem, 4vw, 2.5rem) 4rem; }
header { border-bottom: 3px solid var(--ink); padding-bottom: .8rem; margin-bottom: 1.2rem; }
header p { margin: .4rem 0 0; }
.verdict { font: 600 1.35rem/1.3 var(--serif); }
.verdict::before { content: attr(data-sign) " "; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: .25rem 1.2rem; margin: 0 0 1.6rem; }
dt { color: var(--soft); } dd { margin: 0; font-variant-numeric: tabular-nums; }
section { margin: 0 0 2rem; } h2 { font-size: 1.15rem; margin-bottom: .6rem; }
figure {
  margin: 0 0 1.4rem; padding: .6rem; overflow-x: auto;
  background: var(--sheet); border: 1px solid var(--rule);
}
figure svg { display: block; width: 100%; min-width: 52rem; height: auto; }
figcaption { color: var(--soft); font-size: .875rem; margin-top: .4rem; }
.scroll { overflow-x: auto; }
tr.off td { color: var(--pencil); font-weight: 600; }
summary { cursor: pointer; font-weight: 600; padding: .3rem 0; }
@media (max-width: 34rem) { dl { grid-template-columns: 1fr; } dt { margin-top: .4rem; } }
"""

_BODY = """<main>
<header>
<h1>{{ title | plain }}</h1>
<p class="verdict" data-sign="{{ '✓' if report.ok else '✗' }}">{{ report.verdict | plain }}</p>
<p>{{ report.audio | plain }}</p>
</header>
<dl>{% for name, value in rows %}<dt>{{ name }}</dt><dd>{{ value }}</dd>{% endfor %}</dl>
{% if report.faults %}
<section aria-labelledby="wrong"><h2 id="wrong">What is wrong</h2>
<ul>{% for fault in report.faults %}<li>{{ fault.message | plain }}</li>{% endfor %}</ul></section>
{% endif %}
{% if report.notes %}
<section aria-labelledby="also"><h2 id="also">Also</h2>
<ul>{% for note in report.notes %}<li>{{ note | plain }}</li>{% endfor %}</ul></section>
{% endif %}
<section aria-labelledby="picture"><h2 id="picture">Over time</h2>
<figure tabindex="0" aria-label="Waveform, scrolls sideways on a narrow screen">{{ wave }}
<figcaption>Above the waveform where each event is planned, below it where it was found: thin for pips, thick
for cues, a cross where it was not found.</figcaption></figure>
<figure tabindex="0" aria-label="Errors, scrolls sideways on a narrow screen">{{ error }}
<figcaption>How late (up) or early (down) each event is, counted from the session's start in this file:
dots for pips, squares for cues, hollow when out of
tolerance for its surroundings. A slope is drift, a step is a cut or an
insertion, a broad band is jitter. Beyond the inner dashed lines the scale is logarithmic.</figcaption>
</figure>
</section>
<section><details><summary>All {{ report.events | length }} events</summary>
<div class="scroll" tabindex="0" role="region" aria-label="All events"><table>
<thead><tr><th>Place</th><th>Event</th><th class="number">Error, ms</th><th class="number">Score</th>
<th class="number">Level, dB</th><th>Measured by</th></tr></thead>
<tbody>{% for e in report.events %}
<tr{% if e.error_ms is none or e.error_ms | abs > e.tolerance_ms %} class="off"{% endif %}>
<td>{{ at(e.planned_file_s) }}</td>
<td>{% if e.kind == "pip" %}{{ e.role | plain }} pip{% else %}{{ (e.text or e.role) | plain }}{% endif %}</td>
<td class="number">
{%- if e.error_ms is none %}not found{% else %}{{ "%+.2f" | format(e.error_ms) }}{% endif %}</td>
<td class="number">{% if e.score is not none %}{{ "%.2f" | format(e.score) }}{% endif %}</td>
<td class="number">{% if e.level_db is not none %}{{ "%+.1f" | format(e.level_db) }}{% endif %}</td>
<td>{{ how[e.template] }}</td></tr>
{% endfor %}</tbody></table></div></details></section>
</main>"""

_HOW = {"clip": "its clip", "original": "the original", "tone": "tone", "none": "energy"}


def page(report: Report, schedule: Schedule) -> str:
    """Return the report as HTML; every text in it is escaped."""
    title = f"Check of {schedule.title}"
    body = (
        environment()
        .from_string(_BODY)
        .render(
            title=title,
            report=report,
            rows=summary_rows(report),
            at=clock,
            how=_HOW,
            wave=Markup(wave_svg(report)),
            error=Markup(error_svg(report)),
        )
    )
    return document(title=title, body=body, css=_CSS + picture_css(), description=report.verdict)
