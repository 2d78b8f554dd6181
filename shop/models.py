"""Every model of the shop, gathered for Django; each lives in the module of its seam."""

from shop.concessions import Concession, ConcessionUse
from shop.crib import Press, ToolCare, WearPart
from shop.jobs import Customer, Job, Performed, ReviewComment, SetupSheet, Termination, TerminationWire
from shop.materials import Terminal, TerminalLot, Wire, WireLot
from shop.people import Person, PersonRole, Qualification
from shop.rechecks import PartsList, Recheck, SheetFlag
from shop.specifications import CrimpSpecification, Document
from shop.tools import Calibration, Gauge, Tool, ToolRow

__all__ = [
    "Calibration",
    "Concession",
    "ConcessionUse",
    "CrimpSpecification",
    "Customer",
    "Document",
    "Gauge",
    "Job",
    "PartsList",
    "Performed",
    "Person",
    "PersonRole",
    "Press",
    "Qualification",
    "Recheck",
    "ReviewComment",
    "SetupSheet",
    "SheetFlag",
    "Terminal",
    "TerminalLot",
    "Termination",
    "TerminationWire",
    "Tool",
    "ToolCare",
    "ToolRow",
    "WearPart",
    "Wire",
    "WireLot",
]
