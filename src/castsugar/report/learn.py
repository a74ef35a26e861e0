"""What batches taught as a document: before and after, and how good the tool was."""

from __future__ import annotations

from castsugar.records.learning.learnt import Learning
from castsugar.report.blocks.model import (
    Bullets,
    Cell,
    Document,
    Figure,
    Paragraph,
    Section,
)
from castsugar.report.learn_checks import checks_section
from castsugar.report.learn_first import bench_section, first_section
from castsugar.report.learn_rows import Told
from castsugar.report.learn_tables import (
    burning_section,
    efficiency_section,
    kitchen_section,
    moved_section,
)
from castsugar.report.learn_words import count, id_list


def learn_document(learning: Learning, told: Told, picture: str = "") -> Document:
    """Put together what was learnt.

    Parameters
    ----------
    learning : Learning
    told : Told
    picture : str
        SVG of measured over predicted; left out if empty.
    """
    figure = Figure(svg=picture, caption="Measured over predicted, with 95 % bands")
    sections = [
        first_section(learning, told),
        _short(learning, told),
        checks_section(learning, figure if picture else None),
        moved_section(learning),
        kitchen_section(learning, told),
        burning_section(learning),
        efficiency_section(learning),
        bench_section(learning, told),
        _aside(learning),
        Section(
            key="cautions",
            title="Cautions",
            blocks=(
                Bullets(
                    items=tuple(Cell(text=c.text) for c in told.cautions), warning=True
                ),
            ),
        ),
    ]
    versions = ", ".join(f"{name} {v}" for name, v in told.versions.items())
    return Document(
        title="What your own batches teach",
        subtitle=f"{learning.bench.path.as_posix()}, records in {told.folder}",
        sections=tuple(s for s in sections if s.blocks),
        foot=tuple(text for text in (told.command, versions) if text),
    )


#: Why batches are left out, where a word is not enough.
_LEFT = {"discarded": "discarded (compared, not learnt from)"}


def _short(learning: Learning, told: Told) -> Section:
    """Say what there was to learn from."""
    material = learning.material
    kitchen, firing = learning.kitchen, learning.firing
    strands = sum(m.from_batches for m in learning.burning.mixes)
    set_aside = len(kitchen.contradictions)
    used = len(kitchen.outcomes) - kitchen.own
    parts = [
        count(used, "kitchen measurement"),
        count(strands, "strand"),
        count(len(firing.firings), "firing"),
    ]
    text = (
        f"{count(len(material.batches), 'closed batch', 'closed batches')} with "
        f"{parts[0]}, {parts[1]} and {parts[2]}; the bench file has "
        f"{count(kitchen.own, 'kitchen measurement')} of its own."
    )
    if set_aside:
        text += (
            f" {count(set_aside, 'measurement contradicts', 'measurements contradict')}"
            " what is believed and "
            f"{'is' if set_aside == 1 else 'are'} set aside."
        )
    blocks = [Paragraph(text=text)]
    left = [
        f"{_LEFT.get(why, why)}: {id_list(names)}"
        for why, names in material.left_out.items()
        if names
    ]
    if left:
        blocks.append(
            Paragraph(text=f"Left out: {'; '.join(left)}.", tone="soft"),
        )
    blocks.append(
        Paragraph(
            text="Before: what the bench file says without what learn wrote there "
            "earlier. After: what it says once this is saved (--save); evaluate then "
            "says the same.",
            tone="soft",
        )
    )
    return Section(key="short", title="In short", blocks=tuple(blocks))


def _aside(learning: Learning) -> Section:
    """Name everything that was left out, set aside or is not as it was."""
    material, kitchen = learning.material, learning.kitchen
    items = [o.sentence() for o in kitchen.contradictions]
    items += [f"{name}: cannot be used: {why}" for name, why in kitchen.unusable]
    items += [
        f"{f.batch}, line {f.line}: {f.path.name} "
        + ("has changed since" if f.fault == "changed" else "is missing")
        + f"; {f.done}"
        for f in learning.faults
    ]
    items += [f"{name}: {why}" for name, why in learning.burning.unusable]
    items += [
        f"{name}: the same strands stand in two places; counted once"
        for name in learning.burning.twice
    ]
    items += [
        f"{name}: the same recording as {first}; counted once"
        for name, first in learning.firing.twice
    ]
    items += [
        f"{f.name}: not read anew ({f.why_frozen}); the results of that day stand"
        for f in learning.firing.firings
        if f.why_frozen and not f.why_frozen.startswith("the file ")
    ]
    items += [
        f"{name}, line {line} was corrected ({why}) and does not count"
        for name, line, why in material.corrected
    ]
    items += [
        f"{name}: as weighed {100.0 * share:.2g} % of the mass lies elsewhere than "
        "planned; its strands count as those of the planned mix"
        for name, share in material.off_plan
    ]
    blocks = (Bullets(items=tuple(Cell(text=t) for t in items)),) if items else ()
    return Section(key="aside", title="Set aside and left out", blocks=blocks)
