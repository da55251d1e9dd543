"""Ring wear as a rate: by the distance the ring slid and by the time it ran, compared between coatings like a level."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from sitegen.crossing.exposure import HOURS, KM
from sitegen.declarations import Step
from sitegen.program.model import Program
from sitegen.vocabulary import Book, Measure, Readings, Refused, Result, Value, refused

MASS_LOSS, DEPTH = "wear.mass_loss", "ring.face_wear"
_LIMITS = (
    "A mean over all the ring ran: rings wear fastest at first (common practice, no source), so builds that ran very "
    "different distances are not compared in it. The error of distance and time is not in the bounds."
)


def _rate(name: str, title: str, unit: str, what: str, by: str) -> Measure:
    return Measure(
        id=f"wear.{name}",
        title=title,
        unit=unit,
        better="less",
        compare="ratio",
        grows=True,
        method=f"{what}, by {by} up to that phase.",
        formula=f"wear / {by.removeprefix('the ')}",
        source="of the wear and of the distance or time; bounds scaled",
        limits=_LIMITS,
        interval="bounds",
        only_at="ring",
    )


_MASS, _FACE = "Ring mass lost", "Wear of the ring face by traces, the mean of its angles"
MASS_PER_KM = _rate("mass_per_km", "ring mass lost per distance", "mg/1000 km", _MASS, "the distance slid")
MASS_PER_HOUR = _rate("mass_per_hour", "ring mass lost per time", "mg/100 h", _MASS, "the time run")
FACE_PER_KM = _rate("face_per_km", "ring face wear per distance", "µm/1000 km", _FACE, "the distance slid")
FACE_PER_HOUR = _rate("face_per_hour", "ring face wear per time", "µm/100 h", _FACE, "the time run")
_RATES = (
    (MASS_PER_KM, MASS_LOSS, KM.id, 1000.0),
    (MASS_PER_HOUR, MASS_LOSS, HOURS.id, 100.0),
    (FACE_PER_KM, DEPTH, KM.id, 1000.0),
    (FACE_PER_HOUR, DEPTH, HOURS.id, 100.0),
)


def run(program: Program, engine: str, readings: Mapping[str, Readings], book: Book) -> Iterable[Result]:
    """Each wear of each whole ring by each exposure, with the flags of both."""
    del readings
    build = program.build(engine)
    for measure, wear, exposure, each in _RATES:
        for value in book.of(wear):
            if value.key.engine != engine or "/" in value.key.at or value.status not in {"ok", "below"}:
                continue
            ran = book.get(exposure, build.key(phase=value.key.phase))
            if ran is None or not ran.value:
                yield refused(measure.id, value.key, Refused("no-distance-slid"))
                continue
            by = each / ran.value
            number, low, high = (None if end is None else by * end for end in (value.value, value.low, value.high))
            yield Value(
                measure.id, value.key, number, low, high, n=value.n, of=value.of, status=value.status,
                flags=value.flags | ran.flags, reason=value.reason,
            )  # fmt: skip


STEP = Step(
    name="wear-rates",
    gives=(MASS_PER_KM, MASS_PER_HOUR, FACE_PER_KM, FACE_PER_HOUR),
    run=run,
    needs=(MASS_LOSS, DEPTH, KM.id, HOURS.id),
)
