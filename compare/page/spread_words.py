# SPDX-License-Identifier: MIT
"""Sentences of the page about several scans."""

import math
from collections.abc import Iterator

from annelid.compare.page.words import INVENTED
from annelid.compare.repeatability.agreement import Agreement
from annelid.compare.repeatability.components import OPERATOR
from annelid.compare.repeatability.point_spread import root_mean_square
from annelid.compare.repeatability.repeated import Repeatability, StudyBeside
from annelid.compare.repeatability.shape_modes import ShapeModes
from annelid.results.views.headline import state_text
from annelid.solver.display import counted, digits

SPREAD_CAUTIONS = (
    "Limits hold for the conditions of these scans only: this scanner, this preparation, these operators, "
    "this state of the parts. What all scans share, such as light that enters translucent rubber, is in none "
    "of the standard deviations.",
    "Standard deviations and limits assume normal values. From few parts or operators they are rough: "
    "read their 95 % intervals.",
    "A straggler or an outlier is a reason to look at the part, the operator and the scan. Leave a scan out "
    "only if you find the cause; the tests here leave out nothing.",
    "Many tests are made, each at its own level, so that some stragglers are due to chance.",
)
_FEW = 0.5  # coverage below which a scan is named
_MANY = 6  # names in a sentence


def headline(found: Repeatability) -> str:
    """Say in one sentence how much the shapes differ."""
    weight = found.places.weight
    parts, repeats, everything = (
        root_mean_square(field, weight)
        for field in (found.spread.parts, found.spread.repeatability, found.spread.deviation)
    )
    units = found.part.run.units
    texts = []
    if math.isfinite(parts):
        texts.append(f"shapes of parts differ by {units.show('length', parts, 3)}")
    if math.isfinite(repeats):
        texts.append(f"repeated scans of one part by {units.show('length', repeats, 3)}")
    if not texts:
        texts.append(
            f"the scans differ by {units.show('length', everything, 3)}"
            if math.isfinite(everything)
            else "no place was seen twice"
        )
    rest = " (standard deviations, root mean square over the surface)" if math.isfinite(everything) else ""
    text = " and ".join(texts)
    return f"{text[0].upper()}{text[1:]}{rest}."


def kind(found: Repeatability) -> str:
    """Say how many scans there are."""
    design = found.design
    parts = [counted(len(found.chosen), "scan"), f"of {counted(len(design.parts), 'part')}"]
    return " ".join(
        [*parts, f"by {counted(len(design.operators), 'operator')}"] if design.operators != ("",) else parts
    )


def state_sentence(found: Repeatability) -> str:
    """Say what the scans are compared with."""
    return f"Compared with the {found.part.surface.name} in {state_text(found.part.run, found.part.state)}."


def agreement_sentence(found: Repeatability, entry: Agreement) -> str:
    """Say what bias and limits mean."""
    first, second = found.compared
    return (
        f"Differences are {first} less {second}. In 95 % of the parts, single measurements by both differ by "
        f"a value between the limits of agreement, which rest on {counted(len(entry.difference), 'part')}."
    )


def study_sentences(study: StudyBeside) -> Iterator[str]:
    """Say what the study is and what the ratios mean."""
    yield (
        f"“{study.study.title}” ({study.study.folder.name}), {counted(len(study.study.runs), 'part')} at "
        "full load. A ratio of 1 means that the scatter of its inputs would make the measured spread between "
        "parts."
    )
    if study.shapes.without:
        yield f"The shapes of its parts are not known, because {study.shapes.without}."
    else:
        yield (
            "Its parts were measured like scans, from their deformed shapes. Extremes, percentiles and root "
            "mean squares are not compared, because those of scans contain noise."
        )
    wide = [row.measure for row in study.rows if row.low > 1.0]
    narrow = [row.measure for row in study.rows if row.high < 1.0]
    if wide:
        yield (
            f"The parts scatter more than the study explains in: {', '.join(wide)}. Its inputs scatter more "
            "in truth, or one is missing."
        )
    if narrow:
        yield (
            f"The parts scatter less than in the study in: {', '.join(narrow)}. Its inputs scatter less in "
            "truth."
        )
    if not study.rows:
        yield (
            'No quantity is known of both. Keep the fields of the runs of the study (output keep = "stage '
            'ends"), and scan several parts.'
        )


def doubts(found: Repeatability) -> Iterator[str]:
    """Say what to know before the numbers are used."""
    scans = found.scans
    invented = [scan.entry.scan.name for scan in scans if scan.invented]
    if invented:
        yield f"{_list(invented, len(scans), 'is', 'are')} invented, {INVENTED}."
    digests = [scan.digest for scan in scans]
    same = [scan.entry.scan.name for scan in scans if digests.count(scan.digest) > 1]
    if same:
        yield f"{', '.join(same[:_MANY])} have the same content: the same scan several times repeats nothing."
    few = [scan.entry.scan.name for scan in scans if scan.coverage < _FEW]
    if few:
        yield f"{_list(few, len(scans), 'covers', 'cover')} less than {100 * _FEW:.0f} % of the surface."
    unseen = 100.0 * float(found.places.weight[found.spread.number == 0].sum())
    if unseen > 0.5:
        yield f"{digits(unseen, 2)} % of the surface was seen by no scan; nothing is known there."
    if found.ringed:
        yield (
            "The angle of the scans about the axis is arbitrary, so fields are means around the axis, and "
            "ovality is only in the measures. Name points (column points of the list) to compare the whole "
            "shape."
        )
    ambiguous = [scan.entry.scan.name for scan in scans if len(scan.others)]
    if ambiguous:
        yield (
            f"{_list(ambiguous, len(scans), 'fits', 'fit')} the simulated surface as well in another pose, "
            "such as end for end. The poses were chosen in which the scans differ least from each other "
            f"({sum(scan.posed > 0 for scan in scans)} changed), which makes chance differences a little "
            "smaller. Name points (column points of the list) to fix the poses."
        )
    yield from _design_doubts(found)
    if isinstance(found.shapes, ShapeModes) and found.shapes.outlying.found:
        yield f"Outlying in shape: {', '.join(found.shapes.outlying.found)}; see “Outlying parts”."
    outliers = sorted(
        {f"{test.group} ({what})" for _, what, test in found.consistency if test.verdict == "outlier"}
    )
    if outliers:
        more = "; and more" if len(outliers) > _MANY else ""
        yield f"Outlying in a measure: {'; '.join(outliers[:_MANY])}{more}; see “Consistency”."


def _design_doubts(found: Repeatability) -> Iterator[str]:
    design, entries = found.design, [found.scans[i].entry for i in found.chosen]
    cells = {(entry.part, entry.operator) for entry in entries}
    if len(cells) == len(entries):
        yield (
            "No operator scanned a part more than once, so repeatability is not known; it is contained in "
            "the other scatter."
        )
    if len(design.operators) == 1:
        yield "One operator scanned all parts, so reproducibility is not known."
    elif OPERATOR not in next(iter(found.precision.values())).components and len(design.parts) > 1:
        yield (
            "Each operator scanned other parts, so operators cannot be distinguished from parts. Let "
            "operators scan the same parts."
        )
    if len(design.parts) == 1:
        yield "Only one part was scanned, so nothing is known about other parts."
    negative = [n for n, p in found.precision.items() if any(v < 0.0 for v in p.components.values())]
    if negative:
        measures = counted(len(negative), "measure")
        yield f"Components of variance that came out negative count as zero, in {measures}."
    others = len(found.scans) - len(found.chosen)
    if others:
        yield (
            f"{counted(others, 'scan')} by the other method than “{found.method}” only take part in the "
            "agreement of both."
        )


def _list(names: list[str], total: int, one: str, several: str) -> str:
    """Names and the verb behind them."""
    if len(names) == total > 1:
        return f"All {total} scans {several}"
    text = ", ".join(names[:_MANY])
    return f"{text}{' and others' if len(names) > _MANY else ''} {several if len(names) > 1 else one}"
