"""A simulation as text for a terminal, and as a folder: page, figures, traces, drive parameters."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from pcbstator.analysis.drive.parameters import drive_parameters
from pcbstator.analysis.drive.simulation.scenarios import ScenarioRun, Simulation
from pcbstator.output.files import MANIFEST, json_text
from pcbstator.output.report.drive_files import drive_header, drive_json
from pcbstator.output.report.rows.job_rows import budget_rows
from pcbstator.output.report.rows.scenario_rows import number_rows
from pcbstator.output.report.scenario_figures import scenario_svg
from pcbstator.output.report.verdict import STYLE, verdict_lines, verdict_table

if TYPE_CHECKING:
    from pcbstator.design import SizedDesign


def simulation_text(simulation: Simulation) -> str:
    """The verdict on the requirement, every scenario's numbers, then the error budget."""
    prediction = simulation.prediction
    lines = [prediction.title]
    if prediction.requirement:
        lines += ["", "the requirement, by the prediction", *verdict_lines(prediction.requirement)]
    lines += [f"note: {remark}" for remark in simulation.remarks]
    for run in simulation.runs:
        lines += ["", f"{run.name}: {run.title}"]
        for row in number_rows(run):
            told = f"  (the sensor believes {row.believed})" if row.believed else ""
            lines.append(f"  {row.name:<46}  {row.value}{told}")
    lines += ["", "error budget of the position"]
    lines += [f"  {row.name:<42}  {row.value:<12}  {row.meaning}" for row in budget_rows(prediction)]
    return "\n".join(lines) + "\n"


def simulation_files(design: SizedDesign, simulation: Simulation) -> dict[str, str]:
    """Name and content of every file, manifest included."""
    prediction = simulation.prediction
    pictures = {run.name: scenario_svg(run) for run in simulation.runs}
    files: dict[str, tuple[str, str]] = {
        "simulation.html": ("report", _page(design, simulation, pictures)),
        "simulation.json": ("prediction", json_text(simulation.to_dict())),
    }
    for run in simulation.runs:
        files[f"{run.name}.svg"] = ("drawing", '<?xml version="1.0" encoding="utf-8"?>\n' + pictures[run.name])
        files[f"{run.name}.csv"] = ("prediction", _csv(run))
    parameters = drive_parameters(design, prediction)
    if parameters is not None:
        files["drive.json"] = ("prediction", drive_json(parameters, design.title, prediction.version))
        files["drive.h"] = ("prediction", drive_header(parameters, design.title, prediction.version))
    manifest = {
        "title": design.title,
        "version": prediction.version,
        "design_sha256": design.digest,
        "files": [{"name": name, "role": role} for name, (role, _) in files.items()],
    }
    return {name: content for name, (_, content) in files.items()} | {MANIFEST: json_text(manifest)}


def _page(design: SizedDesign, simulation: Simulation, pictures: dict[str, str]) -> str:
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    template = Path(__file__).with_name("simulation.html").read_text(encoding="utf-8")
    page = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    requirement = simulation.prediction.requirement
    # Pictures and the table of the verdict are escaped by their makers.
    return page.from_string(template).render(
        title=design.title,
        source=design.source,
        digest=design.digest,
        version=simulation.prediction.version,
        remarks=simulation.remarks,
        runs=[
            {"title": run.title, "picture": Markup(pictures[run.name]), "rows": number_rows(run)}
            for run in simulation.runs
        ],
        verdict_style=Markup(STYLE),
        verdict=Markup(verdict_table(requirement)) if requirement else "",
        budget=budget_rows(simulation.prediction),
    ) + "\n"  # fmt: skip


def _csv(run: ScenarioRun) -> str:
    """The trace as a table."""
    trace = run.trace
    columns = {
        "time_s": trace.times, "wanted_deg": np.degrees(trace.wanted), "load_deg": np.degrees(trace.angles),
        "believed_deg": np.degrees(trace.believed), "motor_deg": np.degrees(trace.motor),
        "load_speed_rpm": trace.speeds * 30 / np.pi, "terminal_current_peak_a": trace.current,
        "phase_voltage_peak_v": trace.voltage, "push_n_m": trace.push,
    }  # fmt: skip
    rows = (",".join(f"{value:.7g}" for value in row) for row in zip(*columns.values(), strict=True))
    return re.sub(r"-0(?=,|$)", "0", "\n".join([",".join(columns), *rows]) + "\n", flags=re.MULTILINE)
