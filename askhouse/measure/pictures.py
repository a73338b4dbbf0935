"""Two pictures of how sure the decision is: `python -m askhouse.measure.pictures FOLDER`.

A reliability diagram (is a chance of 0.8 right four times in five?) and the
risk-coverage curve of the trained decision beside the plain model's cosine. For each
message of a labelled set the best fact counts, whether it would be given or not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from askhouse.build import build_assistant, searches_of, shipped_calibration
from askhouse.encoder import open_encoder
from askhouse.errors import KnowledgeError
from askhouse.knowledge.load import Library, load_houses
from askhouse.measure.labelled import LabelledMessage, read_messages
from askhouse.measure.metrics import (
    area_under_risk_coverage,
    brier_score,
    calibration_error,
    reliability,
    risk_coverage,
)
from askhouse.measure.threshold import Surest, surest
from askhouse.search.store import VectorStore

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["by_cosine", "draw_reliability", "draw_risk_coverage", "main"]

# Told apart by anyone, in print without colour too: the line's dashes differ as well.
TRAINED, PLAIN, GREY = "#0a5c8f", "#c2571a", "#767676"


@dataclass(frozen=True, slots=True)
class Curve:
    """One way of being sure, over all messages of a set."""

    name: str
    found: Sequence[Surest]
    colour: str
    dashes: str

    @property
    def answerable(self) -> list[Surest]:
        """All but the messages that get a fact at no threshold, such as alarms."""
        return [one for one in self.found if one.chance > 0]

    @property
    def sure(self) -> list[float]:
        return [one.chance for one in self.answerable]

    @property
    def wrong(self) -> list[bool]:
        return [one.wrong for one in self.answerable]

    def risk_by_coverage(self) -> tuple[list[float], list[float]]:
        """Coverage of all messages, and the share that is wrong; ends with the answerable."""
        coverage, risk = risk_coverage(self.sure, self.wrong)
        share = len(self.answerable) / max(len(self.found), 1)
        return (coverage * share).tolist(), risk.tolist()


def by_cosine(library: Library, messages: Sequence[LabelledMessage]) -> list[Surest]:
    """The plain model alone: the nearest fact, as sure as its cosine."""
    encoder = open_encoder("plain")
    store = VectorStore(None, encoder)
    searches = searches_of(library.houses, store)
    found = []
    for message in messages:
        (encoded,) = encoder.encode_words([message.message])
        search = searches[message.house]
        hits = search.hits(message.message, encoded, most=len(search.house.facts))
        nearest = max(hits, key=lambda hit: hit.similarity)
        found.append(Surest(max(nearest.similarity, 0.0), nearest.fact.id not in message.allowed))
    return found


def draw_reliability(curve: Curve, bins: int = 10) -> Figure:
    """Share right by chance; on the dashed line a chance means what it says."""
    from matplotlib.figure import Figure

    picture = Figure(figsize=(5.2, 5.6), layout="constrained")
    above, below = picture.subplots(2, 1, sharex=True, height_ratios=[4, 1])
    chances, right = curve.sure, [not wrong for wrong in curve.wrong]
    sure, good, counts = reliability(chances, right, bins)
    above.plot([0, 1], [0, 1], color=GREY, linestyle="--", linewidth=1, label="as sure as right")
    above.plot(sure, good, color=curve.colour, marker="o", label=curve.name)
    above.set(ylabel="share that is right", xlim=(0, 1), ylim=(0, 1.02))
    above.set_title(
        f"Is the best fact right as often as its chance says?\n"
        f"calibration error {calibration_error(chances, right, bins):.3f}, "
        f"Brier score {brier_score(chances, right):.3f}",
        fontsize=10,
    )
    above.legend(loc="upper left", frameon=False)
    below.bar(sure, counts, width=0.06, color=curve.colour)
    below.set(xlabel="chance of the best fact", ylabel="messages")
    return picture


def draw_risk_coverage(curves: Sequence[Curve], threshold: float) -> Figure:
    """Share of wrong replies when only the surest are given; lower is better."""
    from matplotlib.figure import Figure

    picture = Figure(figsize=(6.4, 4.4), layout="constrained")
    axes = picture.subplots()
    for curve in curves:
        coverage, risk = curve.risk_by_coverage()
        area = area_under_risk_coverage(curve.sure, curve.wrong)
        label = f"{curve.name} (area {area:.3f})"
        axes.plot(coverage, risk, color=curve.colour, linestyle=curve.dashes, label=label)
    first = curves[0]
    given = sum(chance >= threshold for chance in first.sure)
    if given:
        coverage, risk = first.risk_by_coverage()
        place = (coverage[given - 1], risk[given - 1])
        axes.plot(*place, "o", color=first.colour, label=f"threshold {threshold:.2f}")
    axes.set(
        xlabel="share of messages that get a fact, surest first",
        ylabel="share of those that are wrong",
        xlim=(0, 1),
        ylim=(0, None),
        title="How often a fact is wrong, by how many messages get one",
    )
    axes.legend(loc="upper left", frameon=False)
    return picture


def main(
    folder: Annotated[Path, typer.Argument(help="Holds properties/*.yaml and messages.jsonl.")],
    out: Annotated[Path, typer.Option(help="Where the pictures go.")],
    kind: Annotated[str, typer.Option("--format", help="svg or png")] = "svg",
    most: Annotated[int, typer.Option(min=1, help="Look at this many messages at most.")] = 2000,
) -> None:
    """Draw `reliability` and `risk-coverage`."""
    import matplotlib as mpl

    library = load_houses(folder / "properties")
    messages = [m for m in read_messages(folder) if m.house in library.houses][:most]
    if not messages:
        raise KnowledgeError(f"{folder} holds no message to one of its houses")
    calibration = shipped_calibration("trained")
    assistant = build_assistant(library, None)
    trained = Curve("trained decision", surest(assistant, messages, calibration), TRAINED, "-")
    plain = Curve("cosine of the plain model", by_cosine(library, messages), PLAIN, "--")
    out.mkdir(parents=True, exist_ok=True)
    # The same input gives the same bytes; text stays text, and can be searched.
    with mpl.rc_context({"svg.hashsalt": "askhouse", "svg.fonttype": "none"}):
        for name, picture in (
            ("reliability", draw_reliability(trained)),
            ("risk-coverage", draw_risk_coverage([trained, plain], calibration.threshold)),
        ):
            path = out / f"{name}.{kind}"
            metadata = {"Date": None} if kind == "svg" else None
            picture.savefig(path, dpi=150, metadata=metadata)
            print(path)


if __name__ == "__main__":
    typer.run(main)
