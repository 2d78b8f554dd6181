"""Every model of the shop, gathered for Django; each lives in the module of its seam."""

from shop.jobs import Customer, Job, Performed, ReviewComment, SetupSheet, Termination, TerminationWire
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.people import Person, PersonRole, Qualification
from shop.specifications import CrimpSpecification, Document
from shop.tools import Calibration, Gauge, Tool, ToolRow

__all__ = [
    "Calibration",
    "CrimpSpecification",
    "Customer",
    "Document",
    "Gauge",
    "Job",
    "Performed",
    "Person",
    "PersonRole",
    "Qualification",
    "ReviewComment",
    "SetupSheet",
    "Terminal",
    "TerminalLot",
    "Termination",
    "TerminationWire",
    "Tool",
    "ToolRow",
    "Wire",
    "WireLot",
]
