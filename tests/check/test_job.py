"""Findings of the drive that need results which a small design cannot bring about by itself."""

from dataclasses import replace

import pcbstator
from pcbstator.check.job import job_findings
from pcbstator.design import design_from_document
from tests.check.test_findings import DRIVE, MOVE, SOUND


def test_heat_is_told_where_the_cycle_needs_more_than_the_copper_stands():
    design = design_from_document(SOUND | {"bearing": {"friction_n_m": 0.002}, "motion": MOVE, "drive": DRIVE})
    prediction = pcbstator.predict(design)
    needed = prediction.motion.required_rms
    for stands, told in ((0.9 * needed, True), (1.1 * needed, False)):
        changed = replace(prediction, motion=replace(prediction.motion, available_continuous=stands))
        codes = [finding.code for finding in job_findings(design, changed)]
        assert ("drive.heat" in codes) is told
