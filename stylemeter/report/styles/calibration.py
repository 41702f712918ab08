"""What a calibration measured, as a table, CSV and a plot."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from stylemeter.errors import MissingLibraryError
from stylemeter.practice.words import words

__all__ = ["csv_text", "table_text", "write_plot"]


_HELD_OUT = {"families": "tune family", "groups": "player"}


def _hundredths(value: float | None) -> str:
    return "  -" if value is None else f"{100 * value:3.0f}"


def table_text(result: dict[str, Any], style: str) -> str:
    """Return the result as a table for the terminal: shares in hundredths."""
    norm = f"{100 * result['coverage']:.0f}%"
    lines = [
        f"Held-out check against {style}: {result['folds']} folds by {_HELD_OUT[result['held_out']]}.",
        "",
        f"Clean excerpts. Outside: hundredths of the measured traits outside the central {norm}; number: how many",
        "that is an excerpt, its standard deviation, and what nine in ten have at most; clear: traits an excerpt",
        "flagged at q <= .05; even: distance of a trait's p from an even spread (Kolmogorov-Smirnov, median);",
        "habits shown (and hinted at), in hundredths.",
        "",
        "notes  excerpts  outside  number (sd) most  clear  even  "
        + "  ".join(f"{name:>9}" for name in words().habits),
    ]
    for notes, entry in result["clean"].items():
        habits = "  ".join(
            f"{_hundredths(h['shown'])} ({_hundredths(h['hinted']).strip():>2})".rjust(9)
            for h in entry["habits"].values()
        )
        outside = _hundredths(entry["outside_mean"])
        spread, even = entry["outside_spread"], entry["from_uniform"]
        number = f"{spread['mean']:>6.1f} ({spread['sd']:3.1f}) {spread['nine_in_ten']:>4}"
        told = f"{entry['clear_mean']:5.2f}  {'   -' if even is None else f'{even:4.2f}'}"
        lines.append(f"{notes:>5}  {entry['excerpts']:>8}  {outside:>7}  {number}  {told}  {habits}")
    if result["injected"]:
        lines += ["", *_injected_lines(result)]
    return "\n".join(lines) + "\n"


def _injected_lines(result: dict[str, Any]) -> list[str]:
    """Lines on the habits put into clean excerpts."""
    counts = sorted({int(c) for doses in result["injected"].values() for d in doses.values() for c in d})
    lines = [
        "Habit put into all notes of clean excerpts (whole), into a half or a quarter in one stretch, or into every",
        "third bar (diffuse): shown (and hinted at), in hundredths; place: of those seen in a half or a quarter, how",
        "often the named stretch lay there.",
        "",
        "habit     dose     " + "  ".join(f"{c:>4} notes" for c in counts) + "   place",
    ]
    for habit, doses in result["injected"].items():
        for dose, by_count in doses.items():
            cells = []
            places = []
            for c in counts:
                entry = by_count.get(str(c))
                cells.append(
                    "         -"
                    if entry is None
                    else f"{_hundredths(entry['shown'])} ({_hundredths(entry['hinted']).strip():>3})".rjust(10)
                )
                if entry and entry.get("right_place") is not None:
                    places.append(entry["right_place"])
            told = f"{100 * min(places):.0f}-{100 * max(places):.0f}" if places else ""
            lines.append(f"{habit:<9} {dose:<8} " + "  ".join(cells) + f"   {told}")
    return lines


def csv_text(result: dict[str, Any]) -> str:
    """Return the result as CSV: one row a number."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["check", "dose", "notes", "name", "measure", "share", "excerpts"])
    for notes, entry in result["clean"].items():
        for name, share in entry["outside"].items():
            writer.writerow(["clean", "", notes, name, "outside", _plain(share), entry["excerpts"]])
        for name, shares in entry["habits"].items():
            for measure in ("shown", "hinted", "free", "from_uniform"):
                writer.writerow(["clean", "", notes, name, measure, _plain(shares[measure]), entry["excerpts"]])
    for habit, doses in result["injected"].items():
        for dose, by_count in doses.items():
            for notes, entry in by_count.items():
                for measure in ("shown", "hinted", "right_place"):
                    if entry.get(measure) is not None:
                        writer.writerow(
                            ["injected", dose, notes, habit, measure, _plain(entry[measure]), entry["excerpts"]]
                        )
    return out.getvalue()


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:g}"


def write_plot(result: dict[str, Any], style: str, path: Path) -> None:
    """Write a plot: traits outside by length, and habits shown by length.

    Parameters
    ----------
    path : Path
        Ends in .svg (text stays text) or .png.

    Raises
    ------
    MissingLibraryError
        Without matplotlib.
    """
    try:
        import matplotlib as mpl
        from matplotlib.figure import Figure
    except ImportError:
        raise MissingLibraryError.of("matplotlib", "plots") from None

    with mpl.rc_context({"svg.fonttype": "none", "svg.hashsalt": "stylemeter", "font.size": 9}):
        figure = Figure(figsize=(9, 4), layout="constrained")
        left, right = figure.subplots(1, 2)
        _plot_outside(left, result)
        _plot_shown(right, result)
        figure.suptitle(f"Held-out check: {style}")
        metadata = {"Date": None} if path.suffix == ".svg" else {}
        figure.savefig(path, metadata=metadata)


def _plot_outside(axes: Any, result: dict[str, Any]) -> None:
    counts = [int(n) for n in result["clean"]]
    for notes, entry in result["clean"].items():
        shares = [v for v in entry["outside"].values() if v is not None]
        axes.plot([int(notes)] * len(shares), shares, ".", color="0.75", markersize=3, zorder=1)
    axes.plot(
        counts, [e["outside_mean"] for e in result["clean"].values()], "o-", color="#0072b2", label="mean over traits"
    )
    axes.axhline(1 - result["coverage"], color="black", linewidth=0.8, linestyle="--", label="nominal")
    axes.set(xscale="log", xlabel="notes", ylabel="share of held-out values outside", ylim=(0, 0.3))
    axes.set_xticks(counts, [str(c) for c in counts], rotation=60)
    axes.minorticks_off()
    axes.legend(frameon=False)


def _plot_shown(axes: Any, result: dict[str, Any]) -> None:
    marks = zip("os^Dvx", ("#0072b2", "#d55e00", "#009e73", "#cc79a7", "#56b4e9", "#000000"), strict=True)
    for (habit, doses), (mark, colour) in zip(result["injected"].items(), marks, strict=False):
        whole = doses["whole"]
        axes.plot(
            [int(n) for n in whole],
            [e["shown"] for e in whole.values()],
            marker=mark,
            color=colour,
            label=words().habits[habit].title,
        )
    axes.set(xscale="log", xlabel="notes", ylabel="share shown, habit put into all notes", ylim=(-0.02, 1.05))
    counts = sorted({int(n) for doses in result["injected"].values() for n in doses["whole"]})
    if counts:
        axes.set_xticks(counts, [str(c) for c in counts])
        axes.minorticks_off()
        axes.legend(frameon=False, fontsize=8)
