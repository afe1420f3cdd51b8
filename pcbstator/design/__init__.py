"""What is asked for: frozen records, the loading of design files, and fabrication rule sets as data."""

from pcbstator.design.load import design_from_document, design_from_text, load_design
from pcbstator.design.records import Board, Design, Envelope, SizedDesign, Winding
from pcbstator.design.rules import RuleSet, rule_set, rule_set_names
from pcbstator.design.sections.rotor import BlockMagnet, DiscMagnet, Magnet, Rotor, SectorMagnet
from pcbstator.design.starter import add_sections, standing_sections, write_starter
from pcbstator.design.template import starter_text

__all__ = [
    "BlockMagnet",
    "Board",
    "Design",
    "DiscMagnet",
    "Envelope",
    "Magnet",
    "Rotor",
    "RuleSet",
    "SectorMagnet",
    "SizedDesign",
    "Winding",
    "add_sections",
    "design_from_document",
    "design_from_text",
    "load_design",
    "rule_set",
    "rule_set_names",
    "standing_sections",
    "starter_text",
    "write_starter",
]
